"""A log compared with a device: the answer, for people and for scripts."""

from __future__ import annotations

from dataclasses import dataclass

from modecheck.bench.explanations import MOST_EXPLANATIONS, Follower, LogExplanation
from modecheck.bench.log_files import Log, read_log
from modecheck.bench.vocabulary import Vocabulary
from modecheck.product.ir import Product

AGREES, DISAGREES, INCOMPLETE = "agrees", "disagrees", "incomplete"


@dataclass(frozen=True, slots=True)
class LogComparison:
    """A product, a log, the chips (numbers) that count as recorded, and the result."""

    product: Product
    log: Log
    recorded: tuple[int, ...]
    bound: int
    followed: LogExplanation

    @property
    def answer(self) -> str:
        """Agrees, if a run explains every line; incomplete, if none of the runs followed does, and
        not all runs were followed.
        """
        if self.followed.refused is None:
            return AGREES
        return DISAGREES if self.followed.whole else INCOMPLETE


def compare_log(
    product: Product,
    path: str,
    recorded: tuple[str, ...] | None = None,
    *,
    most: int = MOST_EXPLANATIONS,
) -> LogComparison:
    """Compare the log in a file with a product. `recorded` names the chips whose every line is in
    the log; None means those that occur in it. `most` bounds the explanations kept at a time.

    Raises `InvalidInput` with every error in the log.
    """
    log = read_log(path, Vocabulary(product, recorded))
    if recorded is None:
        numbers = sorted({line.chip for line in log.lines})
    else:
        numbers = [n for n, chip in enumerate(product.chips) if chip.name in recorded]
    followed = Follower(product, numbers, most=most).follow(log.lines, log.order)
    return LogComparison(product, log, tuple(numbers), most, followed)
