"""Published and library-made values, one file a source."""
