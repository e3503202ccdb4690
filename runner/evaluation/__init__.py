"""What a run folder says: the journal told, the samples read, the findings worked out, compared and handed on.

Rule: nothing here knows how a run was carried out; the same code reads a run that has just ended and one of last year.
"""

from runner.evaluation.results import OpenedRun, open_run

__all__ = ["OpenedRun", "open_run"]
