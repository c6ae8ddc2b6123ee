"""A web server on this machine that answers by ranges, and counts what was asked of it."""

from __future__ import annotations

import http.server
import threading


class Server:
    """Serves bytes by ranges, and counts what was asked of it."""

    def __init__(self) -> None:
        self.files: dict[str, bytes] = {}
        self.tags: dict[str, str] = {}
        self.asked: list[tuple[str, str]] = []
        self.cut_at: int | None = None  # bytes of a file after which answers end
        self.whole = False  # does not know ranges
        self.sends_on = ""
        self.codes: list[int] = []  # to answer with, first
        outer = self

        class Handler(http.server.BaseHTTPRequestHandler):
            timeout = 5
            protocol_version = "HTTP/1.1"

            def do_GET(self) -> None:
                outer.answer(self)

            def log_message(self, *_: object) -> None:
                pass

        self._server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        self._thread = threading.Thread(target=self._server.serve_forever, daemon=True)
        self._thread.start()
        self.host = f"127.0.0.1:{self._server.server_port}"

    def url(self, name: str) -> str:
        return f"http://{self.host}/{name}"

    def answer(self, asked: http.server.BaseHTTPRequestHandler) -> None:
        asked.close_connection = True
        self.asked.append((asked.path, asked.headers.get("Range", "")))
        content = self.files.get(asked.path[1:])
        code = self.codes.pop(0) if self.codes else 0
        if code or content is None or self.sends_on:
            asked.send_response(code or (302 if self.sends_on else 404))
            if self.sends_on:
                asked.send_header("Location", self.sends_on)
            asked.send_header("Content-Length", "0")
            asked.end_headers()
            return
        first, last = 0, len(content) - 1
        if not self.whole:
            first, last = map(int, asked.headers["Range"].removeprefix("bytes=").split("-"))
            last = min(last, len(content) - 1)
        part = content[first : last + 1]
        asked.send_response(200 if self.whole else 206)
        asked.send_header("Content-Length", str(len(part)))
        asked.send_header("Content-Range", f"bytes {first}-{last}/{len(content)}")
        asked.send_header("ETag", self.tags.get(asked.path[1:], '"1"'))
        asked.end_headers()
        if self.cut_at is not None:
            part = part[: max(self.cut_at - first, 0)]
        asked.wfile.write(part)

    def close(self) -> None:
        self._server.shutdown()
        self._server.server_close()
        self._thread.join(timeout=5)
