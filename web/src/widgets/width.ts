/** Width of an element in CSS pixels, so that drawings are laid out and never scaled. */

import { useEffect, useRef, useState } from "preact/hooks";

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

/** A colour of the sheet as the browser computes it in the theme of the moment. */
export const colour = (name: string) =>
  getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
