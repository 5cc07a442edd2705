"""States of a noun against the events that meet it; every cell holds an answer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

__all__ = ["Allows", "Answer", "Chart", "LifecycleError", "Meets", "Refuses"]


class LifecycleError(ValueError):
    """A chart with a cell left empty, or one that leads to a state nobody knows."""


@dataclass(frozen=True)
class Allows:
    """A cell that lets the event happen.

    Attributes
    ----------
    to : tuple of str
        States the noun may be in afterwards; empty where its row is gone.
    settles, opens : str
        What the event brings to an end, and what waits for somebody from then on.
    """

    to: tuple[str, ...]
    settles: str = ""
    opens: str = ""


@dataclass(frozen=True)
class Refuses:
    """A cell that does not; names in braces are filled in by who asks.

    Attributes
    ----------
    words : str
        Why not and what to do instead, as a nurse reads it.
    """

    words: str


Answer = Allows | Refuses


@dataclass(frozen=True)
class Meets:
    """One event and what each state answers to it.

    Attributes
    ----------
    words : str
        What happens.
    answers : mapping
        State or states -> answer; a string is a refusal's words.
    """

    words: str
    answers: Mapping[str | tuple[str, ...], Answer | str]

    def by_state(self) -> dict[str, Answer]:
        """Each state with its answer.

        Returns
        -------
        dict
            State -> answer.
        """
        found: dict[str, Answer] = {}
        for states, answer in self.answers.items():
            whole = Refuses(answer) if isinstance(answer, str) else answer
            for state in (states,) if isinstance(states, str) else states:
                if state in found:
                    raise LifecycleError(f"{self.words}: {state} is answered twice")
                found[state] = whole
        return found


@dataclass(frozen=True)
class Chart:
    """All states and events of one noun; refused when a cell is left open.

    Attributes
    ----------
    noun : str
        What it is the chart of.
    states : mapping
        State -> words.
    events : mapping
        Event -> what it meets.
    """

    noun: str
    states: Mapping[str, str]
    events: Mapping[str, Meets]
    cells: Mapping[tuple[str, str], Answer] = field(init=False)

    def __post_init__(self) -> None:
        cells: dict[tuple[str, str], Answer] = {}
        for name, event in self.events.items():
            answers = event.by_state()
            if set(answers) != set(self.states):
                odd = ", ".join(sorted(set(answers) ^ set(self.states)))
                raise LifecycleError(f"{self.noun}, {name}: no answer, or no such state: {odd}")
            for state, answer in answers.items():
                if isinstance(answer, Allows) and set(answer.to) - set(self.states):
                    raise LifecycleError(f"{self.noun}, {name}: leads to no state of the chart")
                cells[state, name] = answer
        object.__setattr__(self, "cells", cells)

    def answer(self, state: str, event: str) -> Answer:
        """What a state answers to an event.

        Parameters
        ----------
        state, event : str
            Names of this chart.

        Returns
        -------
        Answer
            The cell.
        """
        return self.cells[state, event]

    def offers(self, state: str) -> frozenset[str]:
        """Events that may happen in a state.

        Parameters
        ----------
        state : str
            A state of this chart.

        Returns
        -------
        frozenset of str
            Names of events.
        """
        return frozenset(name for name in self.events if isinstance(self.cells[state, name], Allows))
