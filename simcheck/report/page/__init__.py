"""One self-contained HTML page of a result, for people to read, print and review."""
