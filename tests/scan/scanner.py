"""Debian's wapiti with some things done to it: `scanner.py FOLDER wapiti's arguments`.

Its `-x` ends in an error under Debian 12's own Python (a regular expression with its flags at the end), so that is put right.
Nothing but loopback is ever asked, whatever a page or a module names. Forms are filled as a browser would fill them, or most
would be refused before anything is kept: with a button's own name, with what the page has in them, and with a record's id that
was not used yet. And every answer is counted, because a scanner that was shut out reports nothing too: where the program says
"slower, please" (429), the scan goes on as another device at another loopback address, as a second phone would.

FOLDER holds `cookies.json`, a list of the role's devices, and gets `exchanges.jsonl` and `called.jsonl`: what the server under
test was made to fetch from the listener here, which stands in for the outside.
"""

import copy
import ipaddress
import json
import re
import sys
import threading
import uuid
from datetime import datetime, timezone
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from urllib.parse import urlsplit

from requests.adapters import HTTPAdapter
from wapitiCore.main import wapiti
from wapitiCore.net import crawler
from wapitiCore.net.page import Page

folder = Path(sys.argv[1])
devices = json.loads((folder / "cookies.json").read_text())
exchanges = (folder / "exchanges.jsonl").open("w", buffering=1)
called = {"ssrf": {}, "xxe": {}}


def wildcards(pattern: str) -> re.Pattern[str]:
    return re.compile(".*".join(map(re.escape, pattern.split("*"))) + r"\Z", re.MULTILINE | re.DOTALL)


class Listener(BaseHTTPRequestHandler):
    """Stands in for a server outside: writes down who calls, and hands it out in the form that wapiti asks for."""

    def do_GET(self) -> None:
        asked = re.match(r"/get_(ssrf|xxe)\.php\?", self.path)
        if not asked:
            hit = {"url": self.path, "date": datetime.now(timezone.utc).isoformat(), "ip": "loopback", "method": self.command}
            with (folder / "called.jsonl").open("a") as out:
                out.write(json.dumps(hit) + "\n")
            parts = self.path.strip("/").split("/")
            if parts[0] == "ssrf" and len(parts) > 3:
                called["ssrf"].setdefault(parts[2], {}).setdefault(parts[3], []).append(hit)
        body = json.dumps(called[asked[1]] if asked else {}).encode()
        self.send_response(200)
        self.send_header("Content-Type", "application/json")
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    do_POST = do_PUT = do_HEAD = do_GET

    def log_message(self, *_: object) -> None:
        pass


def is_loopback(host: str | None) -> bool:
    try:
        return ipaddress.ip_address(host or "").is_loopback
    except ValueError:
        return False


# Where a page leaves a field empty that must not be, and wapiti's own filling would be refused.
FILLED = {"name": "Somebody", "venue": "Somewhere", "groups": "A 08:50", "text": "number,name,group\n711,Somebody,A\n"}
plain_forms = Page.iter_forms


def forms(page: Page, autofill: bool = True):
    """The page's forms, once for every button that says something, with what stands in them."""
    for form in page.soup.find_all("form"):
        for field in form.find_all("input", attrs={"name": True, "value": ""}):
            field["value"] = field.get("placeholder") or FILLED.get(field["name"], "")
        for area in form.find_all("textarea", attrs={"name": True}):
            text = area.get_text() or FILLED.get(area["name"], "")
            if text:
                area.replace_with(page.soup.new_tag("input", attrs={"type": "text", "name": area["name"], "value": text}))
        buttons = form.find_all("button", attrs={"name": True})
        for button in buttons:
            twin = copy.copy(form)
            said = {"type": "hidden", "name": button["name"], "value": button.get("value", "")}
            twin.append(page.soup.new_tag("input", attrs=said))
            form.insert_after(twin)
        # A form with one more button that says nothing stays as well.
        if buttons and len(buttons) == len(form.find_all("button")):
            form.extract()
    return plain_forms(page, autofill)


place = {"device": 0, "address": 1}
plain_send = HTTPAdapter.send


def with_new_id(body):
    """A record's id as the page would have had it, had it been opened anew: its version is looked at, so it is kept."""
    if not isinstance(body, str):
        return body
    return re.sub(r"(?<![^&])(id=[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[0-9a-f]{4}-)[0-9a-f]{12}(?=&|$)",
                  lambda found: found[1] + uuid.uuid4().hex[:12], body)


def dressed(request) -> None:
    """The request as the device that is in use now; wapiti itself knows the first one only."""
    if devices and "Cookie" in request.headers:
        now = devices[place["device"]]
        request.headers["Cookie"] = re.sub(r"witnessmark=[^;]*", f"witnessmark={now}", request.headers["Cookie"])


def send(adapter: HTTPAdapter, request, **settings):
    parts = urlsplit(request.url)
    if not is_loopback(parts.hostname):
        exchanges.write(json.dumps({"refused": request.url}) + "\n")
        # Not a connection error: wapiti would wait and try again.
        raise crawler.RequestException(f"not loopback: {request.url}")
    request.body = with_new_id(request.body)
    for again in (True, False):
        dressed(request)
        answer = plain_send(adapter, request, **settings)
        line = {"method": request.method, "path": parts.path, "status": answer.status_code}
        if answer.status_code >= 500 or answer.status_code == 400:
            body = request.body or ""
            line |= {"url": request.url, "body": body if isinstance(body, str) else body.decode("latin-1")}
        if parts.port != listener.server_port:
            exchanges.write(json.dumps(line) + "\n")
        if answer.status_code != 429 or not again:
            return answer
        answer.close()
        place["device"] = (place["device"] + 1) % max(len(devices), 1)
        place["address"] = place["address"] % 250 + 1
        adapter.init_poolmanager(10, 10, source_address=(f"127.0.0.{place['address']}", 0))


listener = ThreadingHTTPServer(("127.0.0.1", 0), Listener)
threading.Thread(target=listener.serve_forever, daemon=True).start()
crawler.wildcard_translate = wildcards
Page.iter_forms = forms
HTTPAdapter.send = send
sys.argv = ["wapiti", *sys.argv[2:], "--endpoint", f"http://127.0.0.1:{listener.server_port}/"]
wapiti.wapiti_main()
