import js from "@eslint/js";
import globals from "globals";

export default [
  { ignores: ["bundle.js", "node_modules/"] },
  js.configs.recommended,
  {
    rules: {
      curly: "error",
      eqeqeq: "error",
      "no-var": "error",
      "prefer-const": "error",
      "prefer-template": "error",
      "no-shadow": "error",
      "no-param-reassign": "error",
      "no-implicit-coercion": "error",
      "no-throw-literal": "error",
      "max-len": ["error", { code: 100 }],
      "max-lines": ["error", 400],
      complexity: ["error", 12],
    },
  },
  {
    files: ["src/**/*.js"],
    // Leaflet stands before the bundle on the page, as the script that its makers give out.
    languageOptions: { globals: { ...globals.browser, L: "readonly" } },
  },
  { files: ["test/**/*.js", "*.js"], languageOptions: { globals: globals.node } },
];
