"""Use cases shared by the terminal and the pages: text in, one plain JSON-ready object out (docs/json.md).

Folders import downwards, in this order (tests/test_imports.py): base, solved, the use cases that need no more
than solved states (in this folder), evidence, judging, feeding, night, practise, studying, log, recorded,
papers.
"""
