"""Migrations of the job log, from its first version on."""
