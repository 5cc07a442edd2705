// From the drawing to the foot and back.

// The core keeps x lateral for both feet; the drawing shows the left foot mirrored.
export function frame() {
  const data = document.getElementById("insole-drawing").dataset;
  const sign = data.side === "left" ? -1 : 1;
  const [left, bottom, width, height] = ["left", "bottom", "width", "height"].map((name) => Number(data[name]));
  return {
    sign,
    width,
    height,
    toPage: ([x, y]) => [sign * x - left, height - (y - bottom)],
    toFoot: ([u, v]) => [sign * (u + left), bottom + height - v],
  };
}

export function turned([u, v], degrees) {
  const angle = (degrees * Math.PI) / 180;
  return [u * Math.cos(angle) - v * Math.sin(angle), u * Math.sin(angle) + v * Math.cos(angle)];
}

export function boundsOf(points) {
  const us = points.map((p) => p[0]);
  const vs = points.map((p) => p[1]);
  return { left: Math.min(...us), right: Math.max(...us), low: Math.min(...vs), high: Math.max(...vs) };
}
