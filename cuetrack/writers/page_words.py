"""What pages, sheets, captions and pictures say of their own, in the languages a session can be in.

Texts with a `{}` take one value.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

_LANGUAGES = ("en", "es", "de", "fr")

# A row a word, a column a language, so that a missing one is seen.
_ROWS: Mapping[str, tuple[str, str, str, str]] = {
    # Phases that have no name of their own.
    "lead-in": ("Get ready", "Prepárate", "Gleich geht's los", "En place"),
    "rest": ("Rest", "Descanso", "Pause", "Récupération"),
    "change": ("Change sides", "Cambio de lado", "Seitenwechsel", "Changement de côté"),
    "talk": ("Listen", "Escucha", "Zuhören", "À l'écoute"),
    "own-talk": ("Talk", "Charla", "Ansage", "Parole"),
    "end": ("Finished", "Terminado", "Geschafft", "Terminé"),
    "left": ("left side", "lado izquierdo", "linke Seite", "côté gauche"),
    "right": ("right side", "lado derecho", "rechte Seite", "côté droit"),
    # Headings of what a move has.
    "now": ("Now", "Ahora", "Jetzt", "Maintenant"),
    "next": ("Next", "Después", "Danach", "Ensuite"),
    "clock": ("Clock", "Tiempo", "Uhr", "Temps"),
    "part": ("Part", "Parte", "Teil", "Partie"),
    "round": ("Round {} of {}", "Ronda {} de {}", "Runde {} von {}", "Tour {} sur {}"),
    "rounds": ("{} rounds", "{} rondas", "{} Runden", "{} tours"),
    "move": ("Move", "Ejercicio", "Übung", "Exercice"),
    "stage": ("Stage", "Fase", "Abschnitt", "Phase"),
    "side": ("Side", "Lado", "Seite", "Côté"),
    "seconds": ("Seconds", "Segundos", "Sekunden", "Secondes"),
    "setup": ("Setup", "Posición", "Ausgangsstellung", "Mise en place"),
    "equipment": ("Equipment", "Material", "Material", "Matériel"),
    "easier": ("Easier", "Más fácil", "Leichter", "Plus facile"),
    "harder": ("Harder", "Más difícil", "Schwerer", "Plus difficile"),
    "notes": ("Notes", "Notas", "Notizen", "Notes"),
    # Kinds of files.
    "files-sound": ("Sound", "Sonido", "Ton", "Son"),
    "files-member": (
        "For those who join in",
        "Para quienes participan",
        "Für alle, die mitmachen",
        "Pour les participants",
    ),
    "files-coach": ("For the coach", "Para quien dirige", "Für die Leitung", "Pour la personne qui anime"),
    "files-film": ("For the film", "Para el vídeo", "Für den Film", "Pour le film"),
    "files-data": ("For programs", "Para programas", "Für Programme", "Pour les programmes"),
    # Said before anyone moves.
    "cautions-heading": ("Before you move", "Antes de empezar", "Bevor es losgeht", "Avant de bouger"),
    "caution-advice": (
        "This is no medical advice. If you are unsure, ask a licensed professional first.",
        "Esto no es consejo médico. En caso de duda, consulta antes a un profesional titulado.",
        "Dies ist kein medizinischer Rat. Im Zweifel vorher Fachleute mit Zulassung fragen.",
        "Ceci n'est pas un avis médical. En cas de doute, consultez d'abord un professionnel diplômé.",
    ),
    "caution-stop": (
        "Stop at pain, dizziness or shortness of breath.",
        "Para si sientes dolor, mareo o falta de aire.",
        "Bei Schmerz, Schwindel oder Atemnot aufhören.",
        "Arrêtez en cas de douleur, de vertige ou d'essoufflement.",
    ),
    "caution-breathe": (
        "Warm up, and keep breathing; never hold your breath against effort.",
        "Calienta y respira siempre; no contengas la respiración en el esfuerzo.",
        "Aufwärmen und weiteratmen; nie gegen die Anstrengung die Luft anhalten.",
        "Échauffez-vous et respirez; ne bloquez jamais le souffle pendant l'effort.",
    ),
    "caution-level": (
        "Keep the sound at a level you can talk over, and follow local rules.",
        "Mantén el volumen de modo que se pueda hablar, y sigue las normas del lugar.",
        "So leise hören, dass man sich unterhalten kann; örtliche Regeln gelten.",
        "Gardez un volume qui permet de parler et suivez les règles du lieu.",
    ),
    # Captions of what has no words.
    "tone-short": ("one short tone", "un tono corto", "ein kurzer Ton", "un son court"),
    "tone-long": ("one long tone", "un tono largo", "ein langer Ton", "un son long"),
    "tones-short": ("{} short tones", "{} tonos cortos", "{} kurze Töne", "{} sons courts"),
    "tones-long": ("{} long tones", "{} tonos largos", "{} lange Töne", "{} sons longs"),
    "one-short": ("one short", "uno corto", "ein kurzer", "un court"),
    "one-long": ("one long", "uno largo", "ein langer", "un long"),
    "sound-clicks": ("clicks", "golpes de ritmo", "Taktschläge", "battements"),
    "sound-slate": ("slate", "claqueta", "Synchronton", "clap"),
    "sound-music": ("music", "música", "Musik", "musique"),
    # The page that a member takes part with.
    "seconds-left": ("seconds left", "segundos restantes", "Sekunden übrig", "secondes restantes"),
    "minutes-left": ("minutes left", "minutos restantes", "Minuten übrig", "minutes restantes"),
    "player-accept": (
        "I have read this. Start",
        "Lo he leído. Empezar",
        "Gelesen. Starten",
        "J'ai lu. Commencer",
    ),
    "player-start": ("Start", "Empezar", "Starten", "Commencer"),
    "player-continue": ("Continue", "Continuar", "Fortsetzen", "Continuer"),
    "player-pause": ("Pause", "Pausa", "Anhalten", "Pause"),
    "player-again": ("Once more", "Otra vez", "Noch einmal", "Encore une fois"),
    "player-back": ("Back", "Atrás", "Zurück", "Retour"),
    "player-back-to": (
        "to the start of this",
        "al comienzo de esto",
        "zum Anfang hiervon",
        "au début de ceci",
    ),
    "player-skip": ("Skip", "Saltar", "Vor", "Passer"),
    "player-skip-to": ("to what comes next", "a lo que sigue", "zum Nächsten", "à la suite"),
    "player-controls": ("Controls", "Mandos", "Bedienung", "Commandes"),
    "player-held": ("Paused", "En pausa", "Angehalten", "En pause"),
    "player-place": (
        "Place in the session",
        "Lugar en la sesión",
        "Stelle im Ablauf",
        "Place dans la séance",
    ),
    "player-of": ("{} of {}", "{} de {}", "{} von {}", "{} sur {}"),
    "player-whole": ("The whole session", "La sesión entera", "Der ganze Ablauf", "Toute la séance"),
    "player-help": ("Keys and signs", "Teclas y signos", "Tasten und Zeichen", "Touches et signes"),
    "player-keys": (
        "Space: start or pause. ←: back to the start of this. →: skip to what comes next. Home: back to the"
        " beginning. The media keys of a keyboard and the buttons of a headset do the same.",
        "Espacio: empezar o pausar. ←: volver al comienzo de esto. →: saltar a lo que sigue. Inicio: volver"
        " al principio. Las teclas multimedia y los botones de los auriculares hacen lo mismo.",
        "Leertaste: starten oder anhalten. ←: zurück zum Anfang hiervon. →: vor zum Nächsten. Pos1: ganz an"
        " den Anfang. Medientasten und die Tasten eines Kopfhörers tun dasselbe.",
        "Espace : commencer ou mettre en pause. ← : retour au début de ceci. → : passer à la suite. Début :"
        " tout au commencement. Les touches multimédia et les boutons d'un casque font de même.",
    ),
    "player-signs": (
        "The session slides to the left under a line that stands still: what touches the line is now. Tall "
        "blocks are work; on the upper half it is the left side, on the lower half the right one. Low bands"
        " are rests, dotted ones somebody talking. Below them, bars are spoken words and dots are tones.",
        "La sesión se desliza hacia la izquierda bajo una línea fija: lo que toca la línea es ahora. Los "
        "bloques altos son trabajo; en la mitad de arriba es el lado izquierdo, en la de abajo el derecho. "
        "Las bandas bajas son descansos, las de puntos alguien que habla. Debajo, las barras son palabras y"
        " los puntos son tonos.",
        "Der Ablauf gleitet nach links unter einer Linie durch, die stehen bleibt: Was die Linie berührt, "
        "ist jetzt. Hohe Blöcke sind Arbeit; in der oberen Hälfte ist es die linke Seite, in der unteren "
        "die rechte. Flache Bänder sind Pausen, gepunktete ein Gespräch. Darunter sind Balken gesprochene "
        "Worte und Punkte Töne.",
        "La séance glisse vers la gauche sous une ligne immobile : ce qui touche la ligne, c'est "
        "maintenant. Les blocs hauts sont du travail ; la moitié haute est le côté gauche, la moitié basse "
        "le droit. Les bandes basses sont des récupérations, celles à points quelqu'un qui parle. Dessous, "
        "les barres sont des mots, les points des sons.",
    ),
    "player-no-sound": (
        "The sound “{}” cannot be played. Put it in the same folder as this page, under this name, and open"
        " the page again.",
        "No se puede reproducir el sonido «{}». Ponlo en la misma carpeta que esta página, con este nombre,"
        " y vuelve a abrirla.",
        "Der Ton „{}“ lässt sich nicht abspielen. Unter diesem Namen in den Ordner dieser Seite legen und "
        "die Seite neu öffnen.",
        "Le son « {} » ne peut pas être lu. Placez-le dans le même dossier que cette page, sous ce nom, "
        "puis rouvrez la page.",
    ),
    "player-bad-sound": (
        "The sound inside this page cannot be played here. Open it in another browser.",
        "El sonido de esta página no se puede reproducir aquí. Ábrela en otro navegador.",
        "Der Ton in dieser Seite lässt sich hier nicht abspielen. In einem anderen Browser öffnen.",
        "Le son contenu dans cette page ne peut pas être lu ici. Ouvrez-la dans un autre navigateur.",
    ),
    "player-other-sound": (
        "The sound lasts {} and this session {}: they are not from the same render. Do not train with this "
        "page.",
        "El sonido dura {} y esta sesión {}: no son de la misma versión. No entrenes con esta página.",
        "Der Ton dauert {} und dieser Ablauf {}: Sie gehören nicht zusammen. Nicht mit dieser Seite "
        "trainieren.",
        "Le son dure {} et cette séance {} : ils ne vont pas ensemble. Ne vous entraînez pas avec cette "
        "page.",
    ),
    "player-no-script": (
        "This page needs JavaScript to follow the sound. Open it in a browser, not in a preview.",
        "Esta página necesita JavaScript para seguir el sonido. Ábrela en un navegador, no en una vista "
        "previa.",
        "Diese Seite braucht JavaScript, um dem Ton zu folgen. In einem Browser öffnen, nicht in einer "
        "Vorschau.",
        "Cette page a besoin de JavaScript pour suivre le son. Ouvrez-la dans un navigateur, pas dans un "
        "aperçu.",
    ),
}


def page_words(language: str | None) -> Mapping[str, str]:
    """All words of one language by their keys; of a regional one, its language's; English if unknown."""
    tag = (language or "en").replace("_", "-").split("-")[0].lower()
    column = _LANGUAGES.index(tag) if tag in _LANGUAGES else 0
    return MappingProxyType({key: row[column] for key, row in _ROWS.items()})


def cautions(words: Mapping[str, str]) -> list[str]:
    """What is said before anyone moves."""
    return [text for key, text in words.items() if key.startswith("caution-")]
