"""Notes as people read them."""

from packpale.review.words import FILES, plain
from packpale.review.words.notes import for_a_file


def told(notes):
    """Each in full, in metric words and plain signs, with its pack and settings by their keys."""
    return [for_a_file(note) for note in notes]


def say(words):
    """A phrase in metric words and plain signs; words are told as they are."""
    return plain(FILES.say(words))
