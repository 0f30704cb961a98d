"""What may stand in a finished page and in a style sheet, whoever wrote the template: the last fence.

A page asks for nothing from outside, runs no program but ours, and closes what it opens. (The policy in
``packet.html`` and the fetcher of the PDF hold the same once more, while they work.)
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from html.parser import HTMLParser
from typing import Any

import tinycss2  # type: ignore[import-untyped]

_VOID = "br col hr img input meta wbr"
_ELEMENTS = (
    "html head title style body header footer main section article aside nav div span p h1 h2 h3 h4 h5 h6 "
    "ul ol li dl dt dd table caption colgroup thead tbody tfoot tr th td a b i em strong small sub sup u s "
    "figure figcaption form select option button output label abbr q blockquote pre code time address"
)
_DRAWN = (
    "svg g path rect circle ellipse line polyline polygon text tspan title desc defs use symbol clippath "
    "mask lineargradient radialgradient stop pattern marker image"
)
_FETCHING = (
    "srcset background poster data action formaction ping cite longdesc manifest archive codebase classid "
    "srcdoc usemap profile icon dynsrc lowsrc"
)
_FUNCTIONS = "url src image image-set -webkit-image-set cross-fade element expression"
VOID = frozenset(_VOID.split())
ELEMENTS = VOID | frozenset(_ELEMENTS.split())
DRAWN = frozenset(_DRAWN.split())
FETCHING = frozenset(_FETCHING.split())
FETCHING_FUNCTIONS = frozenset(_FUNCTIONS.split())


class Trespass(Exception):
    """What may not stand where it stands: ``snippet`` is how it begins, ``line`` where, if known."""

    def __init__(self, says: str, snippet: str = "", line: int | None = None) -> None:
        self.says, self.snippet, self.line = says, snippet, line
        super().__init__(says)


# -- style sheets --------------------------------------------------------------------------------------


def check_css(css: str, allowed: Callable[[str], bool] = lambda address: address.startswith("#")) -> None:
    """Raises Trespass for a style sheet that is broken, or refers to an address that is not allowed."""
    _check_nodes(tinycss2.parse_stylesheet(css), allowed)


def _check_nodes(nodes: Any, allowed: Callable[[str], bool]) -> None:
    for node in nodes:
        for each in _walk(node):
            _check_node(each, allowed)


def _walk(node: Any) -> Iterator[Any]:
    yield node
    for part in ("prelude", "content", "arguments", "value"):
        children = getattr(node, part, None)
        if isinstance(children, list):
            for child in children:
                yield from _walk(child)


def _check_node(node: Any, allowed: Callable[[str], bool]) -> None:
    line = node.source_line
    if node.type == "error":
        raise Trespass(f"this is not CSS: {node.message.lower()}.", line=line)
    if node.type == "at-rule" and node.lower_at_keyword == "import":
        raise Trespass("a style sheet may not take in another (@import).", line=line)
    if node.type == "url" and not allowed(node.value):
        raise Trespass(f"a style sheet may not refer to {node.value[:60]!r}.", line=line)
    if node.type == "function" and node.lower_name in FETCHING_FUNCTIONS:
        texts = [each for each in node.arguments if each.type != "whitespace"]
        if len(texts) != 1 or texts[0].type != "string" or not allowed(texts[0].value):
            told = texts[0].value[:60] if texts and texts[0].type == "string" else node.lower_name
            raise Trespass(f"a style sheet may not refer to {told!r}.", line=line)


# -- pages ---------------------------------------------------------------------------------------------


class _Page(HTMLParser):
    def __init__(self, script: str, policy: str, addresses: frozenset[str]) -> None:
        super().__init__(convert_charrefs=True)
        self.script, self.policy, self.addresses = script, policy, addresses
        self.open: list[tuple[str, str]] = []
        self.texts: list[str] = []
        self.scripts = 0
        self.policies = 0
        self.began = False

    def refuse(self, says: str) -> None:
        raise Trespass(says, (self.get_starttag_text() or "")[:200])

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if not self.began:
            raise Trespass("a page begins with <!DOCTYPE html>.")
        drawn = any(name == "svg" for name, _ in self.open) or tag == "svg"
        if tag not in (DRAWN if drawn else ELEMENTS | {"script"}):
            self.refuse(f"a page may not hold <{tag}>.")
        if tag == "script" and (attrs or not self.script):
            self.refuse("a page may hold no program of its own (<script>).")
        values = {name: value or "" for name, value in attrs}
        for name, value in values.items():
            self._attribute(tag, name, value)
        if tag == "meta" and "http-equiv" in values:
            if values.get("content") != self.policy or self.scripts or "body" in (n for n, _ in self.open):
                self.refuse("a page may set no policy or address of its own (http-equiv).")
            self.policies += 1
        if tag not in VOID:
            self.open.append((tag, self.get_starttag_text() or ""))
            self.texts = []

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.handle_endtag(tag)

    def _attribute(self, tag: str, name: str, value: str) -> None:
        if name.startswith("on"):
            self.refuse(f"a page may not handle events ({name}).")
        if name in FETCHING:
            self.refuse(f"a page may not refer to anything outside it ({name}).")
        if name in ("href", "xlink:href") and not value.startswith("#"):
            contact = tag == "a" and value.lower().startswith(("tel:", "mailto:"))
            if not contact and value not in self.addresses:
                self.refuse(f"a page may not refer to {value[:60]!r}.")
        if name == "src" and value not in self.addresses:
            self.refuse(f"a page may not refer to {value[:60]!r}.")
        if name == "style" or "url(" in value.lower():
            try:
                _check_nodes(tinycss2.parse_declaration_list(value), lambda a: a.startswith("#"))
            except Trespass as trespass:
                self.refuse(trespass.says)

    def handle_endtag(self, tag: str) -> None:
        if tag in VOID:
            return
        if not self.open or self.open[-1][0] != tag:
            still = f"; <{self.open[-1][0]}> is still open" if self.open else ""
            # Where its start is further out, what is open inside is to blame.
            inside = any(name == tag for name, _ in self.open)
            snippet = self.open[-1][1] if inside else f"</{tag}>"
            raise Trespass(f"</{tag}> closes nothing{still}.", snippet[:200])
        text = "".join(self.texts)
        if tag == "script":
            self.scripts += 1
            if text != self.script or self.scripts > 1:
                raise Trespass("a page may hold no program of its own (<script>).", "<script")
        elif tag == "style":
            try:
                check_css(text, lambda a: a.startswith("#") or a in self.addresses)
            except Trespass as trespass:
                raise Trespass(trespass.says, self.open[-1][1]) from None
        self.open.pop()
        self.texts = []

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1][0] in ("script", "style"):
            self.texts.append(data)

    def handle_comment(self, data: str) -> None:
        raise Trespass("a page holds no comments; in a template write {# ... #}.", f"<!--{data[:40]}")

    def handle_decl(self, decl: str) -> None:
        if self.began or decl.lower() != "doctype html":
            raise Trespass("a page begins with <!DOCTYPE html>, and declares nothing more.", f"<!{decl[:40]}")
        self.began = True

    def handle_pi(self, data: str) -> None:
        raise Trespass("a page holds no instructions to a program.", f"<?{data[:40]}")

    def unknown_decl(self, data: str) -> None:
        raise Trespass("a page holds no marked sections.", f"<![{data[:40]}")


def check_page(
    html: str, *, script: str = "", policy: str = "", addresses: frozenset[str] = frozenset()
) -> None:
    """Raises Trespass for a page that holds more than a packet may.

    ``script`` and ``policy`` are the one program and the policy that it must hold, "" for none;
    ``addresses`` what it may take in (its fonts and the logo).
    """
    page = _Page(script, policy, addresses)
    page.feed(html)
    page.close()
    if page.open:
        raise Trespass(f"<{page.open[-1][0]}> is never closed.", page.open[-1][1][:200])
    if page.policies != bool(policy):
        raise Trespass(
            "the page lacks the policy that keeps it off the network: keep {{ policy }} in its head."
        )
    if page.scripts != bool(script):
        raise Trespass("the page lacks its program: keep {{ script }} at its end.")
