"""Tests, one file a module of simcheck."""
