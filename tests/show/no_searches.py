"""A page without searches."""

from __future__ import annotations

from typing import Any

from quietcool.show.page_models import Search


class NoSearches:
    """Searches that never start: requests by the hundred must not start processes by the hundred."""

    def start(self, *_: Any) -> str:
        return "1"

    def look(self, name: str) -> Search | None:
        return Search(status="running", words="searching", seconds=1.0) if name == "1" else None

    cancel = look

    def close(self) -> None:
        pass
