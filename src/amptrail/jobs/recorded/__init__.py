"""Recordings: files in, events out, laid under the drive the sheet predicts."""
