// Elements of an SVG and their attributes.

const SVG = "http://www.w3.org/2000/svg";

export function make(name, attributes = {}, parent = null) {
  const node = document.createElementNS(SVG, name);
  set(node, attributes);
  parent?.append(node);
  return node;
}

export function set(node, attributes) {
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
}
