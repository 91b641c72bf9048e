"""One piece of work: on one thread, by the same program wherever, spread no further."""

import json
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from dutylife.errors import RunError
from dutylife.provenance import code_digest, digest_of, versions

_here = threading.local()


def is_inside() -> bool:
    """Whether this thread is doing a piece of work."""
    return getattr(_here, "inside", False)


@cache
def program() -> str:
    """Digest of what a result follows from beside its input: the package and its libraries."""
    return digest_of(code_digest(), json.dumps(versions(), sort_keys=True))


@dataclass(frozen=True, slots=True)
class Piece:
    """A function that can be sent to another process, and says which program sent it."""

    do: Callable[[Any, Any], Any]
    sent_by: str = field(default_factory=program)

    def __call__(self, common: Any, job: Any) -> Any:
        """Do one job."""
        from threadpoolctl import threadpool_limits

        if self.sent_by != program():
            raise RunError(
                "A worker runs another version of dutylife or of its libraries than this process.",
                "compute.scheduler",
                "install the same versions for the workers (tests/constraints.txt) and start them "
                "again",
            )
        before, _here.inside = is_inside(), True
        try:
            with threadpool_limits(limits=1, user_api="blas"):
                return self.do(common, job)
        finally:
            _here.inside = before
