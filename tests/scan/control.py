"""A server with holes, for knowing that the scanner sees them: `control.py` prints its port and serves until it is ended."""

import html
import http.client
import sqlite3
import urllib.request
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import parse_qs, quote, urlsplit

PAGE = """<!DOCTYPE html><title>Holes</title>
<a href="/greet?name=you">greet</a> <a href="/find?id=1">find</a> <a href="/go?to=/">go</a> <a href="/file?name=a">file</a>
<a href="/fetch?from=a">fetch</a> <a href="/break?at=1">break</a> <a href="/kept">kept</a> <a href="/out?by=1">out</a>
<form method="post" action="/keep"><input name="word"><button name="deed" value="keep">keep</button></form>"""
kept: list[str] = []


class Holes(BaseHTTPRequestHandler):
    def answer(self, status: int, body: str, **headers: str) -> None:
        data = body.encode()
        self.send_response(status)
        for name, value in ({"Content-Type": "text/html; charset=utf-8", "Content-Length": str(len(data))} | headers).items():
            self.send_header(name, value)
        self.end_headers()
        self.wfile.write(data)

    def do_GET(self) -> None:
        parts = urlsplit(self.path)
        asked = {key: values[0] for key, values in parse_qs(parts.query, keep_blank_values=True).items()}
        match parts.path:
            case "/":
                self.answer(200, PAGE)
            case "/greet":
                self.answer(200, f"<p>Good day, {asked.get('name', '')}</p>")
            case "/kept":
                self.answer(200, "<ul>" + "".join(f"<li>{word}</li>" for word in kept) + "</ul>")
            case "/find":
                try:
                    sqlite3.connect(":memory:").execute(f"SELECT '{asked.get('id', '')}'")
                    self.answer(200, "found")
                except sqlite3.Error as error:
                    self.answer(200, html.escape(f"sqlite3.OperationalError: {error}"))
            case "/go":
                self.answer(302, "", Location=quote(asked.get("to", "/"), safe=":/?&=#%"))
            case "/file":
                try:
                    name = asked.get("name", "")
                    self.answer(200, open(name).read() if "etc/passwd" in name else "")
                except OSError:
                    self.answer(404, "")
            case "/fetch":
                try:
                    if asked.get("from", "").startswith("http://127.0.0.1:"):
                        urllib.request.urlopen(asked["from"], timeout=2).read()
                    self.answer(200, "fetched")
                except (OSError, http.client.InvalidURL):
                    self.answer(404, "")
            case "/break":
                self.answer(200 if asked.get("at", "").isdigit() else 500, "broken")
            case "/out":
                # The scan is told to keep away from here.
                self.answer(599, "the scan was to keep away")
            case _:
                self.answer(404, "nothing here")

    def do_POST(self) -> None:
        sent = self.rfile.read(int(self.headers.get("Content-Length") or 0)).decode("utf-8", "replace")
        form = parse_qs(sent)
        # Nothing is kept for who pressed no button.
        kept.extend(form.get("word", []) if form.get("deed") else [])
        self.answer(303, "", Location="/kept")

    def log_message(self, *_: object) -> None:
        pass


server = ThreadingHTTPServer(("127.0.0.1", 0), Holes)
print(server.server_port, flush=True)
server.serve_forever()
