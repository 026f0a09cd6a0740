/** Width of an element in CSS pixels, so that drawings are laid out and never scaled. */

import { useEffect, useRef, useState } from "preact/hooks";
import { colours } from "../store";

export function useWidth<T extends Element>(first: number) {
  const ref = useRef<T>(null);
  const [width, setWidth] = useState(first);
  useEffect(() => {
    if (!ref.current) return;
    const watch = new ResizeObserver(([entry]) => setWidth(Math.floor(entry.contentRect.width)));
    watch.observe(ref.current);
    return () => watch.disconnect();
  }, []);
  return [ref, width] as const;
}

const found = new Map<string, string>();
let foundIn = -1;

/** A colour of the sheet as the browser computes it in the theme of the moment. */
export function colour(name: string): string {
  if (foundIn !== colours.peek()) {
    found.clear();
    foundIn = colours.peek();
  }
  let rgb = found.get(name);
  if (rgb === undefined) {
    // light-dark() is settled only where it is used, so use it once and read it back.
    const probe = document.body.appendChild(document.createElement("i"));
    probe.style.color = `var(--${name})`;
    rgb = getComputedStyle(probe).color;
    probe.remove();
    found.set(name, rgb);
  }
  return rgb;
}
