"""Signed handover sheets and their checking."""
