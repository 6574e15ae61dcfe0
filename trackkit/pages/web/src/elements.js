// Elements of the page: made, found, and drawn again no more often than can be seen.

/**
 * Make an element. Its content is text or other elements: a name from a file is never read as
 * HTML. An attribute `on...` is a listener; one that is false, null or undefined is left out.
 *
 * @template {keyof HTMLElementTagNameMap} T
 * @param {T} tag
 * @param {Record<string, unknown>} [attributes]
 * @param {...(Node | string | null | undefined)} children
 * @returns {HTMLElementTagNameMap[T]}
 */
export function element(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (typeof value === "function") {
      node.addEventListener(name.slice(2), /** @type {EventListener} */ (value));
    } else if (value !== false && value !== null && value !== undefined) {
      node.setAttribute(name, value === true ? "" : String(value));
    }
  }
  node.append(...children.filter((child) => child !== null && child !== undefined));
  return node;
}

/**
 * Find the first element of a kind that the page cannot be without.
 *
 * @template {Element} T
 * @param {string} selector
 * @param {new () => T} kind
 * @param {ParentNode} [within]
 * @returns {T}
 */
export function find(selector, kind, within = document) {
  const node = within.querySelector(selector);
  if (!(node instanceof kind)) {
    throw new TypeError(`the page has no ${kind.name} ${selector}`);
  }
  return node;
}

/**
 * Read a document that the page carries, or null where it carries none of that name.
 *
 * @param {string} id
 */
export function readDocument(id) {
  const node = document.getElementById(id);
  return node?.textContent ? JSON.parse(node.textContent) : null;
}

/**
 * Work that is done at most once a frame, however often it is asked for.
 *
 * @param {() => void} work
 */
export function eachFrame(work) {
  let waiting = false;
  return () => {
    if (!waiting) {
      waiting = true;
      requestAnimationFrame(() => {
        waiting = false;
        work();
      });
    }
  };
}

/**
 * Put nodes into a parent in an order, leaving the focus where it is.
 *
 * @param {ParentNode & Node} parent
 * @param {Node[]} nodes
 */
export function arrangeChildren(parent, nodes) {
  const focused = document.activeElement;
  parent.replaceChildren(...nodes);
  if (focused instanceof HTMLElement && parent.contains(focused)) {
    focused.focus({ preventScroll: true });
  }
}
