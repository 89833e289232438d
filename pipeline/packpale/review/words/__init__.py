"""Words for figures, phrases, notes and settings, in the reader's units: the one place that makes them."""

from packpale.review.words.quantities import MISSING, begun, counted, plain
from packpale.review.words.wording import FILES, Told, Wording

__all__ = ["FILES", "MISSING", "Told", "Wording", "begun", "counted", "plain"]
