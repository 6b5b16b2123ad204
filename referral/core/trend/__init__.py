"""Readings over time: real change or within error."""
