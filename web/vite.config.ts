import { defineConfig } from "vite";

// Fixed names and a vendor chunk: the bundle is committed, so a change should touch few bytes.
export default defineConfig({
  base: "./",
  build: {
    outDir: "../src/tuftwork/app/dist",
    emptyOutDir: true,
    target: "es2022",
    // The first browsers with light-dark(); anything older gets a stand-in that ignores the switch.
    cssTarget: ["chrome123", "firefox120", "safari17.5"],
    assetsInlineLimit: 0,
    rolldownOptions: {
      output: {
        entryFileNames: "assets/[name].js",
        chunkFileNames: "assets/[name].js",
        assetFileNames: "assets/[name][extname]",
        codeSplitting: { groups: [{ name: "vendor", test: /node_modules/ }] },
      },
    },
  },
});
