"""Temporary feeds judged before insulation is cut: evidence, flags, rules, verdict (docs/feeds.md)."""
