"""What the program says about a circuit, in the language of a paper.

The sentences are made in English, some long before the paper (a feed keeps its verdict in the log), so they
are matched whole against `circuit.told` of the language's catalogue, as pairs (English, the language). In
them `{a}`..`{e}` is a name of the sheet, `{q}`..`{s}` a quantity, `{x}`..`{z}` any words that stay as they
are, and a capital letter stands for words that are told in turn. The first pair that fits wins. A sentence
nobody translated stays as it is: better English than no paper.
"""

from __future__ import annotations

import re
from functools import cache

from amptrail.paper.words import ENGLISH, catalogue, language, say

HOLES = {
    **dict.fromkeys("abcde", r"(?:`[^`]+`[^\s;:,()]*|[^\s;:,()`]+)"),
    **dict.fromkeys("qrs", r"-?\d[\d.,]*(?:e[+-]?\d+)?(?: ?(?:[munkM]?(?:V|A|W|m|s|ohm|Ah)|mm2|min|h|%|x))?"),
    **dict.fromkeys("xyz", r".+?"),
}
HOLE = re.compile(r"\{(\w)\}")
FIGURE = re.compile(r"(?<![\w.])(-?\d+)\.(\d+)(?= ?(?:[munkM]?(?:V|A|W|m|s|ohm)\b|mm2|%|\)))")
DEEPEST = 8  # sentences within sentences


@cache
def _pairs(speaking: str) -> tuple[tuple[re.Pattern[str], str], ...]:
    rows = catalogue(speaking).get("circuit", {}).get("told", ())
    return tuple((_pattern(str(english)), str(other)) for english, other in rows)


def _pattern(english: str) -> re.Pattern[str]:
    bits = HOLE.split(english)
    out = re.escape(bits[0])
    for name, rest in zip(bits[1::2], bits[2::2], strict=True):
        out += f"(?P<{name}>{HOLES.get(name, '.+?')})" + re.escape(rest)
    return re.compile(out, re.DOTALL)


def _ways(text: str) -> tuple[tuple[str, bool, str], ...]:
    """The text as half a sentence may stand in it: (what is matched, whether it began with a capital letter
    of the sentence's own, what follows it)."""
    if not text.endswith("."):
        return ((text, False, ""),)
    inner = text[:-1]
    small = inner[:1].lower() + inner[1:]
    return ((small, small != inner, "."), (inner, False, "."))


def _told(text: str, speaking: str, deep: int = 0) -> str:
    plain = " ".join(text.split())
    if deep > DEEPEST or not plain:
        return text
    for pattern, other in _pairs(speaking):
        for way, capital, end in _ways(plain):
            m = pattern.fullmatch(way)
            if m is not None:
                said = {
                    k: v if k.islower() else _told(v, speaking, deep + 1) for k, v in m.groupdict().items()
                }
                got = HOLE.sub(lambda hole, said=said: said[hole[1]], other)  # type: ignore[misc]
                return (got[:1].upper() + got[1:] if capital else got) + end
    return text


def told(text: str) -> str:
    """The sentence in the language that is spoken now."""
    if language() == ENGLISH or not text:
        return text
    return FIGURE.sub(lambda m: f"{m[1]}{say('common.decimal')}{m[2]}", _told(text, language()))


def all_told(texts: tuple[str, ...]) -> tuple[str, ...]:
    """Several sentences."""
    return tuple(told(x) for x in texts)
