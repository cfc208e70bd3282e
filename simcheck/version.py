"""The version, in a module of its own so that any layer may state it."""

VERSION = "0.1.0"
