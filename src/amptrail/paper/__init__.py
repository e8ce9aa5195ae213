"""Paper: what is handed over. Facts in, one document model out, set as PDF or HTML.

Each paper is a pure function in a file of its own (`findings`, `slip`, `label`, `notice`, `quote`,
`sheets`, `pencil`) from
`facts` to a `Paper` of blocks; `typeset` and `html` know blocks and nothing of papers. Wording lives in
`words.toml`.
"""

from amptrail.paper.blocks import Paper
from amptrail.paper.html import html
from amptrail.paper.typeset import pdf, png

__all__ = ["Paper", "html", "pdf", "png"]
