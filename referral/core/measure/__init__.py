"""Landmarks to readings: the registry of measures, the views, the uncertainty."""
