/** What may be wider than the sheet scrolls by itself, by keyboard too. */

import type { ComponentChildren } from "preact";

export function Wide({ label, children }: { label: string; children: ComponentChildren }) {
  return (
    <div class="scroll" tabIndex={0} role="region" aria-label={label}>
      {children}
    </div>
  );
}
