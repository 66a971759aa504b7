"""The live page: a small web application for this machine only, with the look of the report.

It answers 127.0.0.1 and localhost alone, takes nothing from other pages, and asks nothing of any network.
"""

from __future__ import annotations

import socket
from collections.abc import Awaitable, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from fastapi import FastAPI
from fastapi import Path as FromPath
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, JSONResponse, Response

from quietcool.entry.build import Build, SpeedRange
from quietcool.show import page_answers, page_save
from quietcool.show.page_guard import Guard
from quietcool.show.page_models import (
    Asked,
    AskedPictures,
    AskedQuietest,
    AskedStop,
    Pictures,
    Refusal,
    Saved,
    Search,
    Solved,
    Started,
)
from quietcool.show.page_search import Searches, TooMany
from quietcool.show.page_view import page_html
from quietcool.show.pages import LIBRARY, asset
from quietcool.units import clean, in_unit

if TYPE_CHECKING:
    from collections.abc import AsyncIterator

    from starlette.requests import Request

HOST = "127.0.0.1"
POSTS = frozenset({"/api/solve", "/api/pictures", "/api/save", "/api/quietest", "/api/stop"})
REFUSALS: dict[int | str, dict[str, Any]] = {code: {"model": Refusal} for code in (400, 403, 413, 415, 422)}
SearchName = Annotated[str, FromPath(min_length=1, max_length=20)]
Answer = Callable[["Request", Any], Awaitable[JSONResponse]]


def create_page(build: Build, build_file: Path) -> FastAPI:
    """Return the application for one build."""
    searches = Searches()

    @asynccontextmanager
    async def living(app: FastAPI) -> AsyncIterator[None]:
        yield
        searches.close()

    app = FastAPI(title="quietcool page", docs_url=None, redoc_url=None, lifespan=living)
    app.add_middleware(Guard, posts=POSTS)
    _add_files(app, build)
    _add_settings(app, build, build_file)
    _add_searches(app, build, searches)
    _add_refusals(app)
    describe_build(app, build)
    return app


def _add_files(app: FastAPI, build: Build) -> None:
    @app.get("/", response_class=HTMLResponse, include_in_schema=False)
    def page() -> str:
        return page_html(build)

    def script(name: str) -> None:
        @app.get(f"/{name}", include_in_schema=False)
        def text() -> Response:
            return Response(asset(name), media_type="text/javascript; charset=utf-8")

    for name in (LIBRARY, "figures.js", "page.js"):
        script(name)

    @app.get("/favicon.ico", include_in_schema=False)
    def icon() -> Response:
        return Response(status_code=204)


def _add_settings(app: FastAPI, build: Build, build_file: Path) -> None:
    @app.post("/api/solve", responses=REFUSALS)
    def solve(asked: Asked) -> Solved:
        """Return the numbers of a setting."""
        return page_answers.solve_for_page(build, asked)

    @app.post("/api/pictures", responses=REFUSALS)
    def pictures(asked: AskedPictures) -> Pictures:
        """Return the pictures of a setting."""
        return page_answers.pictures_for_page(build, asked)

    @app.post("/api/save", responses=REFUSALS | {409: {"model": Refusal}})
    def save(asked: Asked) -> Saved:
        """Write a copy of the build file with these speeds and layouts, and a channel table, beside the build file."""
        changed, _ = page_answers.chosen(asked.state, asked.room_temp_c, asked.layouts, build)
        page_answers.speeds_of(build, asked.speeds_rpm)
        copy, table = page_save.save_setting(build, build_file, asked.speeds_rpm, changed)
        said = f"Saved as {copy.name}, and the channel table as {table.name}."
        return Saved(sentence=said, build_file=copy.name, channel_table=table.name)


def _add_searches(app: FastAPI, build: Build, searches: Searches) -> None:
    missing: dict[int | str, dict[str, Any]] = {404: {"model": Refusal}}

    @app.post("/api/quietest", responses=REFUSALS | {409: {"model": Refusal}})
    def start(asked: AskedQuietest) -> Started:
        """Start a search for the quietest setting."""
        if not build.positions:
            raise page_answers.Refused("build: needs a position to be quiet at; found none; add a [[position]]")
        changed, state = page_answers.chosen(asked.state, asked.room_temp_c, asked.layouts, build)
        return Started(search=searches.start(changed, state, asked.seconds))

    @app.get("/api/quietest/{search}", responses=REFUSALS | missing)
    def look(search: SearchName) -> Search:
        """Return how far a search is."""
        return _there(searches.look(search), search)

    @app.post("/api/stop", responses=REFUSALS | missing)
    def stop(asked: AskedStop) -> Search:
        """Stop a search."""
        return _there(searches.cancel(asked.search), asked.search)


class _Missing(LookupError):
    """There is no such search."""


def _there(found: Search | None, name: str) -> Search:
    if found is None:
        raise _Missing(f"There is no search {name[:20]!r}; it may have been forgotten.")
    return found


def _add_refusals(app: FastAPI) -> None:
    """Every refusal is one sentence."""

    def refusing(kind: type[Exception], status: int) -> None:
        @app.exception_handler(kind)
        async def refuse(request: Request, error: Exception) -> JSONResponse:
            return JSONResponse({"detail": str(error)}, status)

    refusing(page_answers.Refused, 422)
    refusing(page_save.NotSaved, 409)
    refusing(TooMany, 409)
    refusing(_Missing, 404)

    @app.exception_handler(RequestValidationError)
    async def invalid(request: Request, error: RequestValidationError) -> JSONResponse:
        first = error.errors()[0]
        place = clean(".".join(str(part) for part in first["loc"] if part != "body"), 120)
        said = clean(str(first["msg"]), 400)
        return JSONResponse({"detail": f"{place or 'body'}: {said[:1].lower()}{said[1:]}."}, 422)


def describe_build(app: FastAPI, build: Build) -> None:
    """Put the names of the build into the published description, which is then exact."""
    described = app.openapi()
    schemas = described["components"]["schemas"]
    speeds = [_described(ranges) for ranges in build.speed_ranges]
    groups = {"type": "object", "properties": dict(zip(build.group_names, speeds, strict=True))}
    offered = page_answers.layouts_offered(build)
    paths = {path: {"type": "string", "enum": list(names)} for path, names in offered.items()}
    blown = [path.name for path in build.air_paths if path.fan_rows]
    for name in ("Asked", "AskedPictures", "AskedQuietest"):
        fields = schemas[name]["properties"]
        fields["state"] = {"type": "string", "enum": [state.name for state in build.states]}
        fields["layouts"] = {"type": "object", "properties": paths, "additionalProperties": False}
        if "speeds_rpm" in fields:
            fields["speeds_rpm"] = groups | {"required": list(build.group_names), "additionalProperties": False}
        if "path" in fields:
            fields["path"] = {"enum": [*blown, None]}
    app.openapi_schema = described


def _described(ranges: SpeedRange) -> dict[str, Any]:
    lowest, highest = (in_unit(end, "rpm") for end in (ranges.lowest, ranges.highest))
    turning = {"type": "number", "minimum": lowest, "maximum": highest}
    return {"anyOf": [{"const": 0}, turning]} if ranges.may_stop else turning


def serve(build: Build, build_file: Path, port: int, tell: Callable[[str], None]) -> None:
    """Serve the page on this machine until it is interrupted.

    Parameters
    ----------
    build, build_file : Build, Path
        What to show.
    port : int
        Where; 0 for any that is free.
    tell : callable
        Told the address once it is open.

    Raises
    ------
    OSError
        If the port cannot be had.
    """
    import uvicorn

    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as door:
        door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        door.bind((HOST, port))
        door.listen(64)
        tell(f"http://{HOST}:{door.getsockname()[1]}/")
        settings = uvicorn.Config(
            create_page(build, build_file), log_config=None, access_log=False, timeout_graceful_shutdown=2
        )
        uvicorn.Server(settings).run(sockets=[door])
