"""Objects with just the members that a test is about."""

from types import SimpleNamespace


class StandIn(SimpleNamespace):
    """One that can be kept weakly and looked up, as drives and tracks can."""

    __hash__ = object.__hash__

    def alone(self) -> "StandIn":
        """Return itself, as a drive that no laps have told of."""
        return self
