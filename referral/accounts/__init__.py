"""People and organisations: who signs in, and as what."""
