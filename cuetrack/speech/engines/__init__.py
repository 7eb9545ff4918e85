"""What turns text into raw sound: one module an engine, all behind the protocol in `engine`."""
