"""Two courses on one chart: the equivalent radius since the start of each, with its straight line."""

from clinic.charts.style import (
    HEIGHT,
    INK,
    LINE,
    SMALL,
    SOFT,
    SURFACE,
    THIN,
    WIDTH,
    as_svg,
    bare,
    points,
    sheet,
)
from clinic.healing.compare import Comparison, Slope
from clinic.healing.forecast import radius_error

__all__ = ["compared_svg"]

_LEFT, _RIGHT, _TOP, _BOTTOM = 56.0, 210.0, 40.0, 54.0
_NAME_LENGTH = 30


def compared_svg(found: Comparison, names: tuple[str, str], *, title: str = "Two courses compared") -> bytes:
    """Draw both courses over weeks since the first area of each, 900 × 420 px.

    Parameters
    ----------
    found : Comparison
        Slopes and areas.
    names : tuple of str
        Of the first (filled points, solid line) and the second (open points, dashed line).
    title : str
        Title in the file's metadata.

    Returns
    -------
    bytes
        SVG, the same for the same arguments.
    """
    courses = (found.first, found.second)
    end = max(28, *(course.days for course in courses)) / 7.0
    top = 1.1 * max(a.radius + radius_error(a) for course in courses for a in course.areas)
    with sheet() as figure:
        axes = figure.add_axes(
            (
                _LEFT / WIDTH,
                _BOTTOM / HEIGHT,
                (WIDTH - _LEFT - _RIGHT) / WIDTH,
                (HEIGHT - _TOP - _BOTTOM) / HEIGHT,
            )
        )
        bare(axes)
        axes.set_xlim(-0.03 * end, 1.03 * end)
        axes.set_ylim(0.0, top)
        axes.set_xlabel("Weeks since the first area of each", labelpad=points(3), fontsize=SMALL)
        axes.annotate(
            "Equivalent radius √(area/π) [mm]",
            (0, 1),
            xycoords="axes fraction",
            xytext=(points(-44), points(18)),
            textcoords="offset points",
            color=SOFT,
            va="center",
        )
        heights = _apart([course.radius_at(course.days) for course in courses], 0.16 * top, top)
        for course, name, height, filled in zip(courses, names, heights, (True, False), strict=True):
            x = [(a.day - course.areas[0].day).days / 7.0 for a in course.areas]
            axes.errorbar(
                x,
                [a.radius for a in course.areas],
                yerr=[radius_error(a) for a in course.areas],
                linestyle="none",
                ecolor=INK,
                elinewidth=THIN,
                capsize=points(3),
                capthick=THIN,
                marker="o",
                markersize=points(8),
                markerfacecolor=INK if filled else SURFACE,
                markeredgecolor=INK,
                zorder=4,
            )
            axes.plot(
                [0.0, course.days / 7.0],
                [course.start, course.radius_at(course.days)],
                color=INK,
                linewidth=LINE,
                linestyle="solid" if filled else (0, (5, 2)),
                zorder=3,
            )
            axes.annotate(
                f"{name[:_NAME_LENGTH]}\n{_slope_words(course)}",
                (course.days / 7.0, course.radius_at(course.days)),
                xytext=(1.03 * end, height),
                textcoords="data",
                va="center",
                color=INK,
                fontsize=SMALL,
                annotation_clip=False,
                arrowprops={"arrowstyle": "-", "color": SOFT, "linewidth": THIN * 0.7, "shrinkB": 4},
            )
        return as_svg(figure, title)


def _slope_words(course: Slope) -> str:
    return f"{course.slope:+.2f} mm a week\n({course.low:+.2f} to {course.high:+.2f})".replace("-", "−")


def _apart(heights: list[float], least: float, top: float) -> list[float]:
    """The two label heights, at least so far apart and inside the axis."""
    low, high = sorted(heights)
    gap = max(0.0, least - (high - low)) / 2.0
    low, high = low - gap, high + gap
    shift = max(0.0, 0.5 * least - low) - max(0.0, high + 0.5 * least - top)
    order = (low + shift, high + shift)
    return list(order if heights[0] <= heights[1] else order[::-1])
