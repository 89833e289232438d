"""What stands before anybody digs."""

from packpale.review.report.blocks import Section, points
from packpale.values.cautions import cautions_for


def before_digging(address: str) -> Section:
    """The cautions, as a section at this address."""
    return Section("Before anybody digs", (points(cautions_for("judges")),), address, look="caution")
