"""Which jobs spoke of it before: "what was it last time on a lift pump?"

Words are folded (no case, no accents) and looked up by how they begin, so that "pump" finds "pumps". What a
person said, a job's name too, weighs more than what stands in the drawing. Jobs that say more of the words
come first, then those that say rarer ones, then the latest.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from amptrail.store.entries import Entry, refuse
from amptrail.store.state import alive

if TYPE_CHECKING:
    from amptrail.store.log import Log

VERSION = 1  # of the folding below: another one makes the index anew
SAID, DRAWN = 2, 1  # weight of a word of a person and of a word of the sheet
LONGEST_WORD = 60
MOST_WORDS = 12
TEXTS = ("text", "cause", "words", "why", "what", "name", "vehicle", "customer")
WORD = re.compile(r"[^\W_]+", re.UNICODE)
ENDINGS = ("ings", "ing", "es", "ed", "en", "s", "n", "e")  # cut off a word that is asked for
LEAST = 4  # letters that are left
# words a question is made of, in English and German
QUESTION = """a an and any at been before did do does for from had has have how i in is it its job last like
me my of on one or our same show that the there these they this time times to was we were what when where
which who why with you aber am an auf beim das dem den der des die ein eine einem einen einer er es hatte
haben ich im ist letztes mal mit noch oder sie und vom von wann war waren was welche wer wie wo zu zum zur"""
NOT_ASKED = frozenset(QUESTION.split())


def folded(text: str) -> str:
    """Small letters without accents."""
    apart = unicodedata.normalize("NFKD", text.casefold())
    return "".join(c for c in apart if not unicodedata.combining(c))


def words_in(text: str) -> list[str]:
    """The words of a text, folded, in their order; figures count as words."""
    return [w[:LONGEST_WORD] for w in WORD.findall(folded(text))]


def texts(entry: Entry) -> Iterator[str]:
    """What an entry says, for a person to read."""
    if entry.kind == "undo":
        return
    for name in TEXTS:
        value = entry.data.get(name)
        if isinstance(value, str):
            yield value


def weighed(entry: Entry) -> set[tuple[str, int]]:
    """The words of an entry, each with its weight."""
    weight = DRAWN if entry.kind == "sheet" else SAID
    return {(w, weight) for t in texts(entry) for w in words_in(t)}


def asked(question: str) -> tuple[str, ...]:
    """How the words begin that a question asks for; StoreError when it asks for none."""
    wanted = [w for w in words_in(question) if w not in NOT_ASKED and (len(w) > 1 or w.isdigit())]
    if not wanted:
        raise refuse("usage", "there is no word to look for", 'amptrail job search "lift pump"')
    return tuple(dict.fromkeys(_stem(w) for w in wanted))[:MOST_WORDS]


def _stem(word: str) -> str:
    for end in ENDINGS:
        if word.endswith(end) and len(word) - len(end) >= LEAST:
            return word.removesuffix(end)
    return word


@dataclass(frozen=True, slots=True)
class Hit:
    """A job that speaks of it: which words it says, and its entries that say them, the telling ones first."""

    job: str
    words: tuple[str, ...]
    entries: tuple[Entry, ...]


def _said(entries: Sequence[Entry], begins: Sequence[str]) -> tuple[tuple[str, ...], tuple[Entry, ...]]:
    met: dict[str, None] = {}
    found: list[tuple[int, int, Entry]] = []
    for n, e in enumerate(alive(entries)):
        here = [b for b in begins if any(w.startswith(b) for w, _ in weighed(e))]
        met |= dict.fromkeys(here)
        if here:
            found.append((-len(here) * (DRAWN if e.kind == "sheet" else SAID), n, e))
    return tuple(b for b in begins if b in met), tuple(e for *_, e in sorted(found, key=lambda x: x[:2]))


def _called(jobs: Iterable[str], begin: str) -> dict[str, int]:
    """Jobs with a word in their name that begins so."""
    return {j: SAID for j in jobs if any(w.startswith(begin) for w in words_in(j))}


def search(log: Log, question: str, most: int = 10) -> list[Hit]:
    """The jobs that answer a question best. What was taken back is not found."""
    begins = asked(question)
    number = {job: n for n, job in enumerate(log.jobs())}
    by_word = {b: {**log.saying(b), **_called(number, b)} for b in begins}
    rare = {b: math.log(1.0 + len(number) / max(len(by_word[b]), 1)) for b in begins}

    def order(job: str) -> tuple[int, float, int]:
        has = [b for b in begins if job in by_word[b]]
        return -len(has), -sum(rare[b] * by_word[b][job] for b in has), -number[job]

    candidates = sorted({j for jobs in by_word.values() for j in jobs if j in number}, key=order)
    hits: list[Hit] = []
    for job in candidates:
        words, entries = _said(log.entries(job), begins)
        named = {b for b in begins if job in _called((job,), b)}
        if entries or named:
            hits.append(Hit(job, tuple(b for b in begins if b in named or b in words), entries))
        if len(hits) >= most:
            break
    return hits
