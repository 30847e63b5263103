"""Reads what the scanners wrote: `judge.py report FOLDER accepted.md`; or asks again what wapiti says of forms without a token:
`judge.py cross-site FOLDER ADDRESS COOKIE`. Exit status 1 for anything that is neither sound nor accepted."""

import json
import re
import sys
import urllib.error
import urllib.request
import xml.etree.ElementTree as XML
from collections import Counter
from pathlib import Path

ROLES = ["stranger", "driver", "garage", "inspector", "marshal", "organizer"]
# What the server with holes has, and the scanner has to see.
HOLES = ["Cross Site Scripting", "SQL Injection", "Path Traversal", "Open Redirect", "Server Side Request Forgery",
         "Internal Server Error", "Content Security Policy Configuration", "Cross Site Request Forgery", "HTTP Secure Headers"]


def accepted_rows(path: Path) -> list[tuple[str, re.Pattern, re.Pattern, str]]:
    """The table's rows: kind of finding, its words, where, why it is accepted."""
    rows = []
    for line in path.read_text().splitlines():
        cells = [cell.strip().replace("\\|", "|") for cell in re.split(r"(?<!\\)\|", line)[1:-1]]
        if len(cells) == 4 and cells[0] not in ("kind", "") and not cells[0].startswith("-"):
            kind, words, where, why = cells
            if not why:
                sys.exit(f"{path.name}: no reason given: {line}")
            rows.append((kind, re.compile(words.strip("`")), re.compile(where.strip("`")), why))
    return rows


def findings(folder: Path) -> list[dict]:
    report = json.loads((folder / "report.json").read_text())
    kinds = [*report["vulnerabilities"].items(), *report["anomalies"].items()]
    return [one | {"kind": kind} for kind, found in kinds for one in found]


def lines(path: Path) -> list[str]:
    return path.read_text(errors="replace").splitlines() if path.exists() else []


def exchanges(folder: Path) -> list[dict]:
    return [json.loads(line) for line in lines(folder / "exchanges.jsonl")]


def cross_site(folder: Path, address: str, cookie: str) -> None:
    """Sends every form that has no token as another site's page would make a browser send it: it must be refused."""
    for one in findings(folder):
        if one["kind"] != "Cross Site Request Forgery":
            continue
        head, _, body = one["http_request"].partition("\n\n")
        kind = re.search(r"^Content-Type: (.*)$", head, re.MULTILINE)
        for name, value in [("Origin", "https://elsewhere.example"), ("Sec-Fetch-Site", "cross-site")]:
            headers = {"Cookie": f"witnessmark={cookie}", name: value}
            if kind:
                headers["Content-Type"] = kind[1]
            request = urllib.request.Request(address + one["path"], body.encode(), headers, method="POST")
            try:
                with urllib.request.build_opener(urllib.request.ProxyHandler({})).open(request, timeout=20) as answer:
                    status = answer.status
            except urllib.error.HTTPError as error:
                status = error.code
            print(status, name, one["path"])


class Report:
    def __init__(self) -> None:
        self.bad: list[str] = []

    def must(self, holds: object, words: str) -> None:
        if not holds:
            self.bad.append(words)

    def control(self, folder: Path) -> None:
        seen = Counter(one["kind"] for one in findings(folder))
        stored = any("Permanent XSS" in one["info"] for one in findings(folder))
        blind = [kind for kind in HOLES if not seen[kind]] + ([] if stored else ["stored Cross Site Scripting"])
        self.must(not blind, f"control: the scanner did not see {', '.join(blind)}")
        self.must(all(one.get("status") != 599 for one in exchanges(folder)), "control: -x did not keep the scanner out")

    def role(self, role: str, folder: Path, rows: list, used: Counter) -> None:
        asked = exchanges(folder)
        by_status = Counter(one["status"] for one in asked if "status" in one)
        home = (folder / "home").read_text() or "/"
        inside = sum(1 for one in asked if one.get("path", "").startswith(home) and one.get("status", 999) < 400)
        print(f"\n{role}: {sum(by_status.values())} requests, answered {dict(sorted(by_status.items()))}")
        pages = {one["path"] for one in asked if one.get("status", 999) < 400}
        print(f"  {len(pages)} addresses answered with a page or a redirect")
        log = lines(folder / "wapiti.log")
        cut = [found[1] for line in log if (found := re.search(r"Max attack time was reached for module (\w+)", line))]
        print(f"  cut short by the time allowed: {', '.join(cut) or 'nothing'}")
        refused = Counter(one["refused"] for one in asked if "refused" in one)
        if refused:
            print(f"  kept from asking {len(refused)} addresses that are not loopback")
        self.must(inside >= 20, f"{role}: only {inside} requests were let in: this run has shown nothing")
        self.must((folder / "still-in").read_text() == "200", f"{role}: locked out at the end")
        # A module that broke has looked at nothing.
        broke = any("Traceback" in line or re.match(r"\s+File \"", line) for line in log)
        self.must(not broke, f"{role}: wapiti broke, see wapiti.log")
        for one in asked:
            if one.get("status", 0) >= 500:
                self.bad.append(f"{role}: {one['status']} for {one['method']} {one['url']} {one['body'][:300]}")
        for hit in lines(folder / "called.jsonl"):
            self.bad.append(f"{role}: the server fetched something for the scanner: {hit}")
        for line in lines(folder / "server.log"):
            if re.search(r"\bERROR\b|panicked|ended with", line):
                self.bad.append(f"{role}: the server's log: {line}")
        crossed = [line.split(" ", 2) for line in lines(folder / "cross-site")]
        through = [line for line in crossed if line[0] != "403"]
        self.must(not through, f"{role}: another site's page was not refused: {through[:5]}")
        print(f"  {len(crossed)} forms sent again as another site would: {dict(Counter(status for status, _, _ in crossed))}")
        said = Counter()
        for one in findings(folder):
            where = f"{role} {one['method']} {one['path']}"
            fits = [nth for nth, (kind, words, place, _) in enumerate(rows, 1)
                    if kind == one["kind"] and words.search(one["info"]) and place.search(where)]
            used.update(fits[:1])
            words = one["info"] if fits else f"{one['info']}\n    {where} {one['parameter']}"
            said[(one["kind"], words, fits[0] if fits else 0)] += 1
            if not fits:
                request = re.sub("^", "    ", one["http_request"][:2000], flags=re.MULTILINE)
                self.bad.append(f"{role}: {one['kind']}: {one['info']}\n{request}")
        for (kind, info, row), times in said.items():
            print(f"  {times:3} x {kind}: {info} -> {f'accepted, row {row}' if row else 'NOT ACCEPTED'}")

    def tls(self, folder: Path) -> None:
        test = XML.parse(folder / "sslscan.xml").getroot().find("ssltest")
        if test is None:
            self.bad.append("tls: sslscan has nothing to say, see tls/sslscan.log")
            return
        on = {f"{one.get('type')} {one.get('version')}" for one in test.iter("protocol") if one.get("enabled") == "1"}
        ciphers = [(one.get("sslversion"), one.get("cipher"), one.get("bits"), one.get("strength")) for one in test.iter("cipher")]
        print(f"\ntls: {', '.join(sorted(on))}")
        for cipher in ciphers:
            print("  ", *cipher)
        self.must(on and on <= {"tls 1.2", "tls 1.3"}, f"tls: {sorted(on)}")
        self.must(ciphers, "tls: no cipher was accepted")
        for version, cipher, bits, strength in ciphers:
            self.must(strength in ("strong", "acceptable") and int(bits or 0) >= 128, f"tls: {version} {cipher} {bits} bits is {strength}")
            forward = version == "TLSv1.3" or cipher.startswith("ECDHE-")
            self.must(forward and "CBC" not in cipher and not cipher.endswith("-SHA"), f"tls: {cipher} has no forward secrecy, or no AEAD")
        self.must(all(one.get("vulnerable") == "0" for one in test.iter("heartbleed")), "tls: heartbleed")
        self.must(all(one.get("supported") == "0" for one in test.iter("compression")), "tls: compression")
        again = [(one.get("supported"), one.get("secure")) for one in test.iter("renegotiation")]
        self.must(all(supported == "0" or secure == "1" for supported, secure in again), f"tls: renegotiation {again}")
        groups = [(one.get("sslversion"), one.get("name")) for one in test.iter("group")]
        print("   key exchange:", ", ".join(sorted({name for _, name in groups})))
        print("   renegotiation (supported, secure):", again)
        headers = "\n".join(lines(folder / "headers")).lower()
        self.must("strict-transport-security: max-age=" in headers, "tls: no HSTS over https")
        set_cookie = re.findall(r"^set-cookie: (.*)$", headers, re.MULTILINE)
        self.must(set_cookie and all("; secure" in one and "; httponly" in one for one in set_cookie), f"tls: cookies {set_cookie}")
        for line in lines(folder / "server.log"):
            if re.search(r"\bERROR\b|panicked|ended with", line):
                self.bad.append(f"tls: the server's log: {line}")


def main() -> None:
    out, rows = Path(sys.argv[2]), accepted_rows(Path(sys.argv[3]))
    report, used = Report(), Counter()
    ended = lines(out / "runs.log")
    for job in ["control", "tls", *(f"scan {role}" for role in ROLES)]:
        report.must(f"{job}: came to its end" in ended, f"{job}: did not come to its end")
    parts = [("control", report.control), ("tls", report.tls)]
    parts += [(role, lambda folder, role=role: report.role(role, folder, rows, used)) for role in ROLES]
    for name, judge in parts:
        try:
            judge(out / name)
        except (OSError, ValueError, XML.ParseError) as error:
            report.bad.append(f"{name}: no report to judge: {error}")
    unused = [nth for nth in range(1, len(rows) + 1) if not used[nth]]
    if unused:
        print(f"\nrows of accepted.md that nothing fitted this time: {', '.join(map(str, unused))}")
    print(f"\n{len(report.bad)} not accepted" + "".join(f"\n- {one}" for one in report.bad))
    sys.exit(1 if report.bad else 0)


if sys.argv[1] == "cross-site":
    cross_site(Path(sys.argv[2]), sys.argv[3], sys.argv[4])
else:
    main()
