"""Use cases shared by the terminal and the pages: text in, one plain JSON-ready object out (docs/json.md)."""
