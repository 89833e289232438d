"""What stands before anybody digs, and what the price leaves out."""

from packpale.review.report.blocks import Section, points

BEFORE_DIGGING = (
    "Trenches this deep can bury people. Follow the excavation rules where you are, have a competent person look at "
    "the walls before anyone goes in, and keep spoil well back from the edge.",
    "Have cables, pipes and drains located and marked before any digging. What the inputs show of them may be "
    "incomplete or out of place.",
    "A fence that holds large carnivores needs a licence, and its posts, overhang and gates need structural design by "
    "people qualified for it.",
    "Drains, crossings of watercourses and work on land that floods need the consent of the local authority.",
    "Elevation models have errors of their own, and the depth to rock and to water stays a guess until a trial pit is "
    "dug.",
    "These pages help to decide. They replace neither a survey on the ground nor the judgement of those who answer for "
    "the animals.",
)
"""The gravest first."""
LEFT_OUT = (
    "Not in the prices: tax, permits, structural design, surveys, pits, moving services, supervision, contingency."
)


def before_digging(address: str) -> Section:
    """The cautions, as a section at this address."""
    return Section("Before anybody digs", (points(BEFORE_DIGGING),), address, look="caution")
