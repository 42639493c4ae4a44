// What our JavaScript must keep: the rules are written out, so that nothing but eslint itself is needed.
// Run from the top folder: eslint --config tests/page/js/eslint.config.mjs sim/show/page/files tests/page/js

const names = (text) => Object.fromEntries(text.split(" ").map((name) => [name, "readonly"]));

const both = "atob Blob clearTimeout DecompressionStream performance Response setTimeout URL";
const page = "cancelAnimationFrame document getComputedStyle navigator requestAnimationFrame ResizeObserver Worker";
const worker = "WorkerGlobalScope";

const faults = [
  "array-callback-return", "constructor-super", "for-direction", "getter-return", "no-async-promise-executor",
  "no-case-declarations", "no-class-assign", "no-compare-neg-zero", "no-cond-assign", "no-const-assign",
  "no-constant-binary-expression", "no-constant-condition", "no-constructor-return", "no-control-regex",
  "no-debugger", "no-delete-var", "no-dupe-args", "no-dupe-class-members", "no-dupe-else-if", "no-dupe-keys",
  "no-duplicate-case", "no-duplicate-imports", "no-empty", "no-empty-character-class", "no-empty-pattern",
  "no-ex-assign", "no-fallthrough", "no-func-assign", "no-global-assign", "no-import-assign",
  "no-invalid-regexp", "no-irregular-whitespace", "no-loss-of-precision", "no-new-native-nonconstructor",
  "no-obj-calls", "no-promise-executor-return", "no-prototype-builtins", "no-redeclare", "no-self-assign",
  "no-self-compare", "no-setter-return", "no-shadow", "no-shadow-restricted-names", "no-sparse-arrays",
  "no-template-curly-in-string", "no-this-before-super", "no-undef", "no-unexpected-multiline",
  "no-unmodified-loop-condition", "no-unreachable", "no-unreachable-loop", "no-unsafe-finally",
  "no-unsafe-negation", "no-unsafe-optional-chaining", "no-unused-expressions", "no-unused-labels",
  "no-unused-private-class-members", "no-useless-backreference",
  "require-yield", "use-isnan", "valid-typeof",
];
const habits = [
  "default-case-last", "eqeqeq", "no-alert", "no-console", "no-eval", "no-extend-native", "no-implied-eval",
  "no-lone-blocks", "no-new-func", "no-new-wrappers", "no-param-reassign", "no-return-assign",
  "no-script-url", "no-sequences", "no-throw-literal", "no-unneeded-ternary", "no-useless-catch",
  "no-useless-concat", "no-useless-escape", "no-useless-rename", "no-useless-return", "no-var",
  "object-shorthand", "prefer-const", "prefer-template", "radix", "yoda",
];
const markup = ["innerHTML", "outerHTML", "insertAdjacentHTML", "setHTMLUnsafe", "parseFromString", "srcdoc"];

export default [
  { linterOptions: { reportUnusedDisableDirectives: "error" } },
  {
    files: ["**/*.mjs"],
    languageOptions: { ecmaVersion: 2024, sourceType: "module", globals: names(both) },
    rules: {
      ...Object.fromEntries([...faults, ...habits].map((rule) => [rule, "error"])),
      "no-unused-vars": ["error", { argsIgnorePattern: "^_" }],
      "no-use-before-define": ["error", { functions: false, classes: true, variables: false }],
      "no-param-reassign": ["error", { props: false }],
      "no-restricted-syntax": [
        "error",
        ...markup.map((name) => ({ selector: `Identifier[name='${name}']`, message: "Names are text, never markup." })),
        {
          selector: "CallExpression[callee.object.name='document'][callee.property.name=/^write/]",
          message: "Names are text, never markup.",
        },
      ],
    },
  },
  { files: ["sim/show/page/files/*.mjs"], languageOptions: { globals: names(page) } },
  { files: ["sim/show/page/files/engine.mjs"], languageOptions: { globals: names(worker) } },
  { files: ["tests/**/*.mjs"], languageOptions: { globals: names("process BigUint64Array") } },
];
