"""Horses and who owns them."""
