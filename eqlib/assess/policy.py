"""How strictly answers are marked. Every value can be set per assignment and per question.

The defaults are common practice, no source: 2 % on a number worked out from one's own data, two to four
figures, one deduction for figures, a slip penalised once and carried forward.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

from eqlib.errors import EqlibError

ATTEMPTS = ("before-reveal", "first", "last", "best")


class PolicyError(EqlibError):
    """A marking policy that cannot be used; the message says which value and how to mend it."""


@dataclass(frozen=True)
class Policy:
    """Rules of marking.

    ``tolerance``       relative: a number within it is right.
    ``window``          relative: how close a wrong number must be to what a mistake gives, to be "consistent
    with" it.
    ``figures``         fewest and most significant figures of a typed number; outside costs
    ``figures_deduction``
                        (a fraction of the part's points), once per question. Numbers from code are not
                        counted.
    ``carry_forward``   mark a later part from the student's own earlier value.
    ``attempts``        which recorded answer counts: "before-reveal" (the last one recorded before the
                        outcome was first shown; in practice, where nothing is handed in, the last),
                        "first", "last" or "best" (the last two whether or not the outcome was seen).
    ``working_after``   attempts after which practice shows the worked solution.
    ``working``         may the worked solution be shown at all (in assessed work: once marked)?
    """

    tolerance: float = 0.02
    window: float = 0.005
    figures: tuple[int, int] = (2, 4)
    figures_deduction: float = 0.1
    carry_forward: bool = True
    attempts: str = "before-reveal"
    working_after: int = 2
    working: bool = True

    def __post_init__(self) -> None:
        for name in ("tolerance", "window", "figures_deduction"):
            value = getattr(self, name)
            if type(value) not in (int, float) or not 0 <= value <= 1:
                raise PolicyError(
                    f"policy {name} is {value!r}; write a fraction from 0 to 1, such as 0.02 for 2 %"
                )
        low, high = self.figures
        if not 1 <= low <= high:
            raise PolicyError(f"policy figures is {list(self.figures)}; write [fewest, most], such as [2, 4]")
        if self.attempts not in ATTEMPTS:
            raise PolicyError(f"policy attempts is {self.attempts!r}; write one of {', '.join(ATTEMPTS)}")
        if type(self.working_after) is not int or self.working_after < 1:
            raise PolicyError(
                f"policy working_after is {self.working_after!r}; write a whole number from 1 up"
            )

    def changed(self, **settings: Any) -> Policy:
        """This policy with some rules replaced. Raises PolicyError for a name or value that is not one."""
        known = [field.name for field in fields(self)]
        for name, value in settings.items():
            if name not in known:
                raise PolicyError(f"policy has no rule {name!r}; the rules are {', '.join(known)}")
            if name in ("carry_forward", "working") and type(value) is not bool:
                raise PolicyError(f"policy {name} is {value!r}; write true or false")
        if "figures" in settings:
            given = settings["figures"]
            if not isinstance(given, (list, tuple)) or len(given) != 2 or {type(n) for n in given} != {int}:
                raise PolicyError(f"policy figures is {given!r}; write [fewest, most], such as [2, 4]")
            settings["figures"] = tuple(given)
        return replace(self, **settings)


DEFAULT = Policy()
