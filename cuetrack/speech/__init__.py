"""Text → measured clips: voices, engines, phrases by language, cache, perceived onset."""
