"""Plumbing for pages: sign-in, tokens, errors, pictures of numbers."""
