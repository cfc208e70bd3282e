"""The command line: one command a file, imported only when asked for."""
