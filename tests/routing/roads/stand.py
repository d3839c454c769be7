"""A stand-in for a routing server on this machine, which can be told to misbehave."""

import json
import threading
import time
from collections.abc import Callable
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

Cell = Callable[[tuple[float, float], tuple[float, float]], Any]


def minutes_apart(a: tuple[float, float], b: tuple[float, float]) -> float:
    """A made-up drive in seconds, longer towards the east than back."""
    return 60_000 * abs(a[0] - b[0]) + 30_000 * abs(a[1] - b[1]) + (30 if b[1] > a[1] else 0)


class Stand:
    """A stand-in for a routing server on this machine, of either kind. `on_request` is told the number of each request
    before it is answered."""

    def __init__(self) -> None:
        self.cell: Cell = minutes_apart
        self.raw: bytes | None = None
        self.status, self.wait, self.requests = 200, 0.0, 0
        self.on_request: Callable[[int], object] = lambda _number: None
        stand = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
                ends = [[(p["lat"], p["lon"]) for p in body[name]] for name in ("sources", "targets")]
                rows = [[stand.valhalla_cell(a, b) for b in ends[1]] for a in ends[0]]
                self.answer({"sources_to_targets": rows})

            def do_GET(self) -> None:
                parts = urlsplit(self.path)
                places = [tuple(map(float, p.split(",")))[::-1] for p in parts.path.rsplit("/", 1)[1].split(";")]
                query = parse_qs(parts.query)
                rows, columns = (
                    [places[int(n)] for n in query[name][0].split(";")] for name in ("sources", "destinations")
                )
                times = [[stand.cell(a, b) for b in columns] for a in rows]  # type: ignore[arg-type]
                far = [[None if t is None else t * 10 for t in row] for row in times]
                self.answer({"code": "Ok", "durations": times, "distances": far})

            def answer(self, body: Any) -> None:
                stand.requests += 1
                stand.on_request(stand.requests)
                time.sleep(stand.wait)
                self.send_response(stand.status)
                self.end_headers()
                self.wfile.write(json.dumps(body).encode() if stand.raw is None else stand.raw)

            def log_message(self, *args: object) -> None:
                pass

        self.http = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        threading.Thread(target=self.http.serve_forever, daemon=True).start()

    def valhalla_cell(self, a: Any, b: Any) -> dict[str, Any]:
        seconds = self.cell(a, b)
        return {"time": seconds, "distance": None if seconds is None else seconds / 100}

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.http.server_port}"

    def end(self) -> None:
        """Nobody listens any more; may be called twice."""
        self.http.shutdown()
        self.http.server_close()
