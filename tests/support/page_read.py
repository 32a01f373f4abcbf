"""Reads a page of HTML strictly, by the standard library alone: what is opened is closed, and in its order."""

import re
from dataclasses import dataclass, field
from html.parser import HTMLParser
from itertools import pairwise
from xml.etree import ElementTree

#: Elements that have no end (HTML, 13.1.2), and elements that end a paragraph when they begin (13.1.2.4).
VOID = {"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"}
NOT_IN_P = {"p", "ul", "ol", "dl", "table", "pre", "figure", "section", "details", "div", "h1", "h2", "h3", "main"}
#: Which elements alone may hold an element.
PARENTS = {
    "li": {"ul", "ol"}, "tr": {"tbody", "thead"}, "td": {"tr"}, "th": {"tr"}, "tbody": {"table"}, "thead": {"table"},
    "caption": {"table"}, "summary": {"details"}, "figcaption": {"figure"}, "dt": {"dl", "div"}, "dd": {"dl", "div"},
}  # fmt: skip


@dataclass
class Element:
    """An element with its attributes, what it holds, and where."""

    name: str
    attributes: dict[str, str]
    children: list["Element | str"] = field(default_factory=list)

    def all(self, name: str) -> list["Element"]:
        """Return every element of that name below, in the order of the page."""
        found = []
        for child in self.children:
            if isinstance(child, Element):
                found += ([child] if child.name == name else []) + child.all(name)
        return found

    def text(self) -> str:
        """Return all text below, white space made one blank."""
        return " ".join(re.split("[ \n]+", self._text())).strip()

    def _text(self) -> str:
        inside = "".join(child if isinstance(child, str) else child._text() for child in self.children)
        return inside if self.name in ("a", "b", "code", "strong", "span") else f" {inside} "

    def one(self, identity: str) -> "Element":
        """Return the one element below with an id."""
        (found,) = [one for one in self._below() if one.attributes.get("id") == identity]
        return found

    def section(self, identity: str) -> "Element":
        """Return the section that an element with that id heads."""
        (found,) = [one for one in self.all("section") if one.attributes.get("aria-labelledby") == identity]
        return found

    def _below(self) -> list["Element"]:
        found = []
        for child in self.children:
            if isinstance(child, Element):
                found += [child, *child._below()]
        return found


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.root = Element("", {})
        self.open = [self.root]
        self.ids: list[str] = []
        self.doctype = ""

    def handle_decl(self, decl: str) -> None:
        self.doctype = decl

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = [name for name, _ in attrs]
        assert len(set(names)) == len(names), f"an attribute twice in <{tag}>"
        element = Element(tag, {name: value or "" for name, value in attrs})
        if "id" in element.attributes:
            self.ids.append(element.attributes["id"])
        above = [one.name for one in self.open]
        assert not (tag in NOT_IN_P and "p" in above), f"<{tag}> within <p>"
        assert above[-1] in PARENTS.get(tag, {above[-1]}), f"<{tag}> within <{above[-1]}>"
        self.open[-1].children.append(element)
        if tag not in VOID:
            self.open.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        assert "svg" in [one.name for one in self.open], f"<{tag}/> outside a drawing"
        self.handle_starttag(tag, attrs)
        self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open[-1].name == tag, f"</{tag}> closes <{self.open[-1].name}>, line {self.getpos()}"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        self.open[-1].children.append(data)


def read_page(page: bytes) -> Element:
    """Return a page's root; it must be well-formed, with ids that are unique and references that lead somewhere.

    Every reference stays within the page, there is no script, every drawing is XML with a title, every table has a
    caption and every head of it a scope.
    """
    text = page.decode("utf-8")
    reader = _Reader()
    reader.feed(text)
    reader.close()
    assert reader.open == [reader.root], f"not closed: {[one.name for one in reader.open[1:]]}"
    assert reader.doctype == "DOCTYPE html"
    assert len(set(reader.ids)) == len(reader.ids), "an id twice"
    root = reader.root
    (html,) = root.all("html")
    assert html.attributes["lang"] == "en"
    for element in root._below():
        assert element.name not in ("script", "link", "img", "iframe", "object", "embed", "base", "form"), element.name
        for name, value in element.attributes.items():
            assert not name.startswith("on") and name not in ("src", "srcset", "action", "data", "style"), name
            if name in ("href", "xlink:href"):
                assert value.startswith("#") and value[1:] in reader.ids, value
            if name in ("aria-labelledby", "aria-describedby"):
                assert set(value.split()) <= set(reader.ids), value
    (style,) = [one.text() for one in root.all("style")]
    assert "url(" not in style.replace("url(#", "") and "@import" not in style and "@font-face" not in style
    for table in root.all("table"):
        assert next(one.name for one in table.children if isinstance(one, Element)) == "caption"
        assert all(head.attributes.get("scope") in ("row", "col") for head in table.all("th"))
    for piece in text.split("<svg")[1:]:
        drawing = ElementTree.fromstring("<svg" + piece.split("</svg>")[0] + "</svg>")
        if "aria-hidden" not in drawing.attrib:
            assert drawing.findtext("title") and drawing.findtext("desc")
    levels = [int(one.name[1]) for one in root._below() if one.name in ("h1", "h2", "h3", "h4")]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(later - earlier <= 1 for earlier, later in pairwise(levels))
    return root
