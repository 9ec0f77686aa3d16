"""A document made into HTML, PDF or Markdown, and a drawing into PNG. The libraries load only when they are asked."""

from __future__ import annotations

import json
from dataclasses import asdict
from importlib import resources
from typing import Any, Literal

from pathway.problems import cannot
from pathway.shipped import RULES, shipped
from pathway.views.documents.document import (
    Bullets,
    Callout,
    Card,
    Document,
    Facts,
    Figure,
    Heading,
    Lines,
    Paragraph,
    Readings,
    Table,
)
from pathway.views.drawings.drawing import Drawing

Paper = Literal["a4", "letter"]
Size = Literal["wide", "narrow"]
SIZES: tuple[Size, ...] = ("wide", "narrow")
"""Both drawings of a figure: a page of the web shows the narrow one on a small screen, paper only the wide one."""
PAPERS: dict[str, str] = {"a4": "a4", "letter": "us-letter"}
FIXED_TIME = 1_700_000_000
"""Seconds that every PDF names as its making, so that the same plan gives the same bytes."""
POINTS_PER_INCH = 144


NOT_WRITTEN = "internal error, nothing was written"
REPORT = "please report it"


def html(document: Document) -> str:
    """Return the document as one HTML page that needs nothing from elsewhere."""
    import jinja2
    import markupsafe

    loader = jinja2.FunctionLoader(_template)
    rooms = jinja2.Environment(autoescape=True, loader=loader, undefined=jinja2.StrictUndefined, trim_blocks=True)
    blocks = _blocks(document, SIZES)
    for block in blocks:
        for size in SIZES:
            if block["kind"] == "Figure":
                block[size]["svg"] = markupsafe.Markup(_inline(block[size]["svg"], life_size=block["life_size"]))
    return rooms.get_template("document.html").render(doc=document, blocks=blocks, zip=zip)


def pdf(document: Document, paper: Paper = "a4", keywords: tuple[str, ...] = (), fonts: tuple[str, ...] = ()) -> bytes:
    """Return the document as tagged PDF (PDF/UA-1 is enforced). Raises CannotBeDone where it cannot be laid out.

    `fonts` are folders of more fonts, for a script that ours lack.
    """
    return _typeset(_template("document.typ"), "pdf", _inputs(document, paper, keywords), fonts)[0]


def page_svg(document: Document, paper: Paper = "a4") -> str:
    """Return the first page as SVG, to be shown on a page of the web. Raises CannotBeDone as `pdf` does."""
    return pages_svg(document, paper)[0]


def pages_svg(document: Document, paper: Paper = "a4") -> tuple[str, ...]:
    """Return every page as SVG of the paper's size, a mm for a mm. Raises CannotBeDone as `pdf` does."""
    pages = _typeset(_template("document.typ"), "svg", _inputs(document, paper))
    return tuple(page.decode("utf-8") for page in pages)


def png(drawing: Drawing) -> bytes:
    """Return a drawing as PNG. Raises CannotBeDone where it cannot be drawn."""
    page = f"#set page(width: {drawing.width_mm}mm, height: {drawing.height_mm}mm, margin: 0mm)\n"
    page += '#image(bytes(sys.inputs.svg), format: "svg", width: 100%)'
    return _typeset(page, "png", {"svg": drawing.svg()})[0]


def markdown(document: Document) -> str:
    """Return the document as Markdown; drawings as their words."""
    lines = [f"# {_md(document.title)}", "", _md(document.subtitle), ""]
    for block in document.blocks:
        match block:
            case Heading(text, level):
                lines += [f"{'#' * level} {_md(text)}", ""]
            case Paragraph(text):
                lines += [_md(text), ""] if text else []
            case Bullets(items, numbers):
                marks = [f"{n}." for n in numbers] or ["-"] * len(items)
                lines += [*(f"{mark} {_md(item)}" for mark, item in zip(marks, block.lines, strict=True)), ""]
            case Callout(title, texts):
                lines += [*(f"> {_md(text)}" for text in (title, *texts) if text), ""]
            case Figure(wide):
                lines += [_md(wide.alternative), ""]
            case Readings(readings):
                read = (
                    f"- {_md(label)}: {_md(value)}{f' ({_md(small)})' if small else ''}"
                    for label, value, small in readings
                )
                lines += [*read, ""]
            case Table(head=head, rows=rows):
                lines += [_md_row(head), _md_row(("---",) * len(head)), *(_md_row(row) for row in rows), ""]
            case Card(number, title, when, facts, foot):
                told = [f"- {_md(label)}: {_md(text)}" for label, text in facts]
                lines += [f"### {number} {_md(title)}: {_md(when)}", "", *told, "", *([_md(foot), ""] if foot else [])]
            case Facts(facts):
                lines += [*(f"- {_md(label)}: {_md(text)}" for label, text in facts), ""]
            case Lines(label):
                lines += [_md(label), ""]
    return "\n".join([*lines, _md(document.footer)]) + "\n"


def _inputs(document: Document, paper: Paper, keywords: tuple[str, ...] = ()) -> dict[str, str]:
    data = {"paper": PAPERS[paper], "blocks": _blocks(document, ("wide",)), "keywords": keywords}
    for name in ("title", "subtitle", "language", "direction", "footer", "dense"):
        data[name] = getattr(document, name)
    return {"data": json.dumps(data)}


def _typeset(
    source: str, form: Literal["pdf", "png", "svg"], inputs: dict[str, str], more_fonts: tuple[str, ...] = ()
) -> list[bytes]:
    """Return the pages (a PDF as one), laid out with the fonts that ship and no others."""
    import typst

    with resources.as_file(shipped(RULES).joinpath("fonts")) as fonts:
        try:
            made, warnings = typst.compile_with_warnings(  # type: ignore[misc]  # its stub leaves the type of bytes open
                source.encode(),
                format=form,
                ppi=POINTS_PER_INCH,
                pdf_standards="ua-1" if form == "pdf" else None,
                timestamp=FIXED_TIME,
                font_paths=[str(fonts), *more_fonts],
                ignore_system_fonts=True,
                sys_inputs=inputs,
            )
        except typst.TypstError as error:
            raise cannot("", f"{NOT_WRITTEN}: the page could not be laid out ({error})", REPORT) from None
    if warnings:
        raise cannot("", f"{NOT_WRITTEN}: the page was laid out with a warning ({warnings[0].message})", REPORT)
    return [made] if isinstance(made, bytes) else [page for page in made if isinstance(page, bytes)]


def _template(name: str) -> str:
    return resources.files("pathway.views.documents").joinpath("templates", name).read_text(encoding="utf-8")


def _blocks(document: Document, of_sizes: tuple[Size, ...]) -> list[dict[str, Any]]:
    """Return the blocks as plain data with their kind; drawings with their SVG in these sizes."""
    blocks = []
    for index, block in enumerate(document.blocks):
        data = {"kind": type(block).__name__}
        if isinstance(block, Figure):
            drawings = {size: block.wide if size == "wide" else block.narrow for size in of_sizes}
            sizes: dict[str, Any] = {
                size: {
                    "svg": drawn.svg(f"figure-{index}-{size}"),
                    "alternative": drawn.alternative,
                    "width_mm": drawn.width_mm,
                }
                for size, drawn in drawings.items()
            }
            blocks.append({**data, **sizes, "caption": block.caption, "life_size": block.life_size})
        else:
            blocks.append({**data, **asdict(block)})
    return blocks


def _inline(svg: str, *, life_size: bool = False) -> str:
    """Return an SVG for a page: its size comes from the page, or stays its own."""
    head, rest = svg.split(">", 1)
    if life_size:
        width = head.split(' width="', 1)[1].split('"', 1)[0]
        return f'{_inline(svg).split(">", 1)[0]} style="width:{width};max-width:none">{rest}'
    kept = [part for part in head.split(" ") if part]
    words = " ".join(part for part in kept if not part.startswith(("width=", "height=", "xmlns=")))
    return f"{words}>{rest}"


def _md(text: str) -> str:
    """Return text with the signs of Markdown and HTML made harmless."""
    for sign in "\\`*_[]<>#|":
        text = text.replace(sign, f"\\{sign}")
    return " ".join(text.split())


def _md_row(cells: tuple[str, ...]) -> str:
    return f"| {' | '.join(cell if cell == '---' else _md(cell) for cell in cells)} |"
