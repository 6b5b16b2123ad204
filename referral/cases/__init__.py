"""A case: who it is, who may see it, and its append-only timeline."""
