"""Temporary feeds: judged, searched for, doubted by suspects still alive, fitted."""
