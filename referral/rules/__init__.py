"""The rules as people read them, and what an organisation sets in their place."""
