import { defineConfig } from "vite";

// Fixed names and a vendor chunk: the bundle is committed, so a change should touch few bytes.
export default defineConfig({
  base: "./",
  build: {
    outDir: "../src/tuftwork/app/dist",
    emptyOutDir: true,
    target: "es2022",
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
