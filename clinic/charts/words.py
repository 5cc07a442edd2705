"""Words of a chart that is drawn by hand."""

from xml.sax.saxutils import escape

__all__ = ["words_tag"]


def words_tag(x: float, y: float, text: str, anchor: str, more: str = "") -> str:
    """Words at a place of an SVG [px], in its own colour; `anchor` is start, middle or end, `more`
    further attributes.
    """
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="currentColor" '
        f'stroke="none"{more}>{escape(text)}</text>'
    )
