"""The edge that reads and writes files; units live here and nowhere below."""
