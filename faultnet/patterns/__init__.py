"""What past jobs say as evidence, equal ones counted once: values only; `counting` makes them from histories."""

from faultnet.patterns.pattern import Apart, LeftOut, Pattern, Patterns

__all__ = ["Apart", "LeftOut", "Pattern", "Patterns"]
