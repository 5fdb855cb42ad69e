"""A form that was sent twice, by a second tap, is done once: each form carries a word that no other form has."""

import secrets
from collections import OrderedDict
from collections.abc import Callable
from threading import Lock

from starlette.responses import Response

MOST_KEPT = 500


class Once:
    """What forms of late led to. A word is kept once its form was done; one that failed may be sent again."""

    def __init__(self) -> None:
        self._done: OrderedDict[str, tuple[int, str]] = OrderedDict()
        self._lock = Lock()

    def do(self, word: str, make: Callable[[], Response]) -> Response:
        """What the form of this word leads to: a way elsewhere (303) is taken again, anything else is made anew.

        One form after the other, so that a second tap waits for the first.
        """
        if not word:
            return make()
        with self._lock:
            if word in self._done:
                status, place = self._done[word]
                return Response(status_code=status, headers={"location": place})
            response = make()
            if "location" in response.headers:
                self._done[word] = response.status_code, response.headers["location"]
                while len(self._done) > MOST_KEPT:
                    self._done.popitem(last=False)
            return response


def new_word() -> str:
    """A word for a form that is shown now."""
    return secrets.token_urlsafe(9)
