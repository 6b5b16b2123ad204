"""Where things are kept: database, files, decoding."""
