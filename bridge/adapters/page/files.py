"""The page's files: read once, kept in memory, compressed once; asked for by their exact names only."""

from __future__ import annotations

import gzip
import hashlib
from dataclasses import dataclass
from importlib.resources import files
from importlib.resources.abc import Traversable

from bridge.adapters.page.doorman import Receive, Send
from bridge.adapters.page.refusals import RefusalError, shown
from bridge.adapters.page.visits import Scope, Visit

KINDS = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".mjs": "text/javascript; charset=utf-8",
    ".json": "application/json",
    ".webmanifest": "application/manifest+json",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".webp": "image/webp",
    ".ico": "image/x-icon",
    ".woff2": "font/woff2",
    ".txt": "text/plain; charset=utf-8",
}
INDEX = "/index.html"
# Compressed by their own format.
_DENSE = (".png", ".webp", ".woff2")


@dataclass(frozen=True, slots=True, kw_only=True)
class File:
    """One file as it is served."""

    kind: str
    plain: bytes
    packed: bytes | None
    mark: str


def read_files(root: Traversable | None = None) -> dict[str, File]:
    """Return every file of a kind that is served, by its path; hidden ones are left out."""
    folder = files("bridge.adapters.page").joinpath("static") if root is None else root
    found = dict(_within(folder, ""))
    if INDEX in found:
        found["/"] = found[INDEX]
    return found


def _within(folder: Traversable, path: str) -> list[tuple[str, File]]:
    found: list[tuple[str, File]] = []
    if not folder.is_dir():
        return found
    for each in folder.iterdir():
        if each.name.startswith("."):
            continue
        here = f"{path}/{each.name}"
        suffix = f".{each.name.rpartition('.')[2]}"
        if each.is_dir():
            found += _within(each, here)
        elif suffix in KINDS:
            found.append((here, _file(each.read_bytes(), suffix)))
    return found


def _file(plain: bytes, suffix: str) -> File:
    packed = None if suffix in _DENSE else gzip.compress(plain, mtime=0)
    smaller = packed if packed is not None and len(packed) < len(plain) else None
    mark = hashlib.sha256(plain).hexdigest()[:20]
    return File(kind=KINDS[suffix], plain=plain, packed=smaller, mark=mark)


class Files:
    """Answers with a file.

    Args:
        found: By path.
    """

    def __init__(self, found: dict[str, File]) -> None:
        self._found = found

    async def __call__(self, scope: Scope, _receive: Receive, send: Send) -> None:
        """Answer one request.

        Raises:
            RefusalError: there is no such file.
        """
        visit: Visit = scope["visit"]
        file = self._found.get(visit.path)
        if file is None:
            raise RefusalError(404, "not-found", f"there is no {shown(visit.path)}", "begin at /")
        if visit.changes:
            raise RefusalError(405, "wrong-method", "a file is only read", "use GET")
        packed = file.packed if _takes_gzip(visit) else None
        # One mark for each spelling, or a cache would hand out the other (RFC 9110, 8.8.3.3).
        mark = f'"{file.mark}-gz"' if packed is not None else f'"{file.mark}"'
        headers = [
            (b"content-type", file.kind.encode()),
            (b"cache-control", b"no-cache"),
            (b"etag", mark.encode()),
            (b"vary", b"accept-encoding"),
        ]
        if mark in visit.headers.get("if-none-match", ""):
            await send({"type": "http.response.start", "status": 304, "headers": headers})
            await send({"type": "http.response.body", "body": b""})
            return
        body = file.plain if packed is None else packed
        headers.append((b"content-length", b"%d" % len(body)))
        if packed is not None:
            headers.append((b"content-encoding", b"gzip"))
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        await send({"type": "http.response.body", "body": b"" if visit.method == "HEAD" else body})


def _takes_gzip(visit: Visit) -> bool:
    offers = [each.replace(" ", "").lower() for each in visit.headers.get("accept-encoding", "").split(",")]
    return any(each == "gzip" or (each.startswith("gzip;q=") and each != "gzip;q=0") for each in offers)
