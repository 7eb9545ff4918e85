"""Tables a coach keeps (CSV, XLSX) → sessions, sessions → tables; and plan text in its one tidy form."""
