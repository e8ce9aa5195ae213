"""What a rule looks at: the lives of one vehicle at one corner, with the healthy vehicle beside it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from amptrail.circuit.model import Circuit
from amptrail.feed.evidence import Instant, Lives, Story
from amptrail.feed.extra import Extra
from amptrail.feed.fitting import Fitted
from amptrail.feed.functions import Finding, findings
from amptrail.feed.marks import Purpose
from amptrail.solve.network import Network


@dataclass(frozen=True, eq=False)
class Case:
    """`subject` is the vehicle judged: `fed`, or `healthy` to learn what breaks without any feed. `oracle`
    limits every rule to the definitions of oracle SCHEMA, "Jumper files"."""

    lives: Lives
    purpose: Purpose = "leave"
    oracle: bool = False
    subject: str = "fed"
    corner: str = "nominal"
    extra: Extra | None = None
    found: dict[Story, tuple[Finding, ...]] = field(default_factory=dict)

    @property
    def fitted(self) -> Fitted:
        return self.lives.fitted

    @property
    def network(self) -> Network:
        return self.lives.fitted.network

    @property
    def circuit(self) -> Circuit:
        return self.lives.fitted.circuit

    @property
    def starts(self) -> tuple[str, ...]:
        """Starts lived through, asleep first."""
        return self.lives.plain_starts if self.oracle else self.lives.starts

    @property
    def awake(self) -> tuple[str, ...]:
        """Starts fitted awake."""
        return tuple(s for s in self.starts if s.startswith("awake:"))

    @property
    def named(self) -> tuple[str, ...]:
        """Starts with a name of their own: stall, aborted crank …"""
        return tuple(s for s in self.starts if s not in self.lives.plain_starts)

    @property
    def feeding(self) -> bool:
        """Whether a feed is fitted at all: what follows from its wires and fuses has no meaning without."""
        return self.subject == "fed"

    def story(self, start: str, held: str | None = None) -> Story:
        """The life of the vehicle judged."""
        return self.lives.get(self.subject, start, held)

    def beside(self, start: str, held: str | None = None) -> Story:
        """The healthy life of the same start."""
        return self.lives.get("healthy", start, held)

    def stories(self) -> tuple[Story, ...]:
        return tuple(self.story(s) for s in self.starts)

    def asked(self, story: Story) -> tuple[Finding, ...]:
        """What every function does at every instant of a story."""
        if story not in self.found:
            self.found[story] = findings(story)
        return self.found[story]

    def healthy(self) -> Case:
        """The same questions to the healthy vehicle."""
        return replace(self, subject="healthy", found={})

    def before_use(self) -> Instant:
        """The end of the sleep before first use."""
        return _there(self.story("asleep").before_use)

    def asleep(self, start: str) -> Instant:
        """The first sleep after use."""
        return _there(self.story(start).shutdown)

    def healthy_before_use(self) -> Instant:
        return _there(self.beside("asleep").before_use)

    def healthy_asleep(self) -> Instant:
        return _there(self.beside("asleep").shutdown)


def _there(x: Instant | None) -> Instant:
    if x is None:
        raise AssertionError("every story has its sleeps")
    return x
