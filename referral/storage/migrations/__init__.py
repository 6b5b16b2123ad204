"""Migrations: how a database gets from any earlier shape to this one."""
