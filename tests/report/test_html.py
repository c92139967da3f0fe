"""The HTML report as a file: structure, policy, nothing from outside, names that do no harm."""

import re
from base64 import b64encode
from dataclasses import replace
from functools import cache
from hashlib import sha256
from html.parser import HTMLParser

from agree import Pairs, best_efforts
from agree.report.html.document import html_text
from agree.report.story.provenance import Provenance
from tests.report import cases

VOID = {"meta", "br", "link", "img", "input", "hr"}


class Structure(HTMLParser):
    """Collects tags with attributes, and tags that do not match."""

    def __init__(self):
        super().__init__()
        self.tags, self.open, self.wrong = [], [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        if not self.open or self.open.pop() != tag:
            self.wrong.append(tag)


@cache
def page(name):
    return html_text(cases.ALL[name](), Provenance(command=("agree", "check", "a b.csv", "c.csv")))


def tags(text):
    parser = Structure()
    parser.feed(text)
    assert (parser.wrong, parser.open) == ([], [])
    return parser.tags


def test_structure_is_semantic():
    for name in cases.ALL:
        found = tags(page(name))
        names = [tag for tag, _ in found]
        assert names.count("h1") == names.count("main") == names.count("header") == names.count("footer") == 1
        assert all(attrs.get("scope") in ("col", "row") for tag, attrs in found if tag == "th")
        assert names.count("caption") == names.count("table") >= 5
        assert all(attrs.get("aria-label") for tag, attrs in found if tag == "svg")
        ids = [attrs["id"] for _, attrs in found if "id" in attrs]
        assert len(ids) == len(set(ids))


def test_policy_allows_our_script_and_style_alone():
    text = page("fails")
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]*)"', text)[1]
    assert policy.startswith("default-src 'none'; ")
    assert "unsafe" not in policy
    for tag, kind in (("script", "script-src"), ("style", "style-src")):
        inside = re.findall(rf"<{tag}>(.*?)</{tag}>", text, re.DOTALL)
        assert len(inside) == 1
        digest = b64encode(sha256(inside[0].encode()).digest()).decode()
        assert f"{kind} 'sha256-{digest}'" in policy
    assert " style=" not in text


def test_nothing_comes_from_outside():
    text = page("holds").replace("http://www.w3.org/2000/svg", "")
    assert "http" not in text.replace("http-equiv", "")
    assert "@import" not in text
    assert "url(" not in re.sub(r'"url\(#clip-[0-9a-f-]+\)"', "", text)


def test_readings_have_titles_and_their_twins():
    text = page("fails")
    keys = re.findall(r'<g class="reading" data-k="(\d+)"><title>([^<]*)</title>', text)
    assert len({key for key, _ in keys}) < len(keys) <= 2 * len({key for key, _ in keys})
    assert all(re.match(r"at \d:\d\d:\d\d: reference \d+ W, device \d+ W, error [+-]\d", told) for _, told in keys)


def test_hostile_names_do_no_harm():
    ride = cases.ride(1, 900, device_name='<script>alert("x")</script>\x1b[2J', reference_name="\u202e&<b>")
    text = html_text(cases.check(Pairs(**{name: getattr(ride, name) for name in (
        "reference", "device", "reason", "device_name", "reference_name")}), "1.5 %"), Provenance())
    tags(text)
    assert text.count("<script") == 1
    assert "<b>" not in text
    assert not {"\x1b", "\u202e"} & set(text)


def test_best_efforts_stand_on_the_page_with_averaging_and_scale_apart():
    check = cases.ALL["holds"]()
    assert "Best efforts?" not in page("holds")
    best = tuple(best_efforts(item, durations_s=(5, 60)) for item in check.pairs)
    text = html_text(replace(check, efforts=best), Provenance(command=("agree",)))
    tags(text)
    shown = text[text.index("<h2>Best efforts?"):text.index("<h2>Over time?")]
    assert all(f">{title}</th>" in shown for title in ("difference, %", "averaging, %", "scale, %"))
    assert shown.count("<tr>") == 3 * len(check.pairs)
