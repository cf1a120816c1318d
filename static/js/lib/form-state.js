// A form's fields as plain data and back: what undo keeps. Hidden fields and files are left alone.

/** @typedef {HTMLInputElement | HTMLSelectElement | HTMLTextAreaElement} Field */

/**
 * @param {HTMLFormElement} form
 * @returns {Field[]}
 */
function fieldsOf(form) {
  const all = /** @type {Field[]} */ (Array.from(form.elements).filter((each) => "name" in each && each.name));
  return all.filter((each) => !["hidden", "submit", "button", "file", "range"].includes(each.type));
}

/**
 * What each field says, in the order of the page.
 * @param {HTMLFormElement} form
 * @returns {(string | boolean)[]}
 */
export function stateOf(form) {
  return fieldsOf(form).map((field) => (isTicked(field) ? field.checked : field.value));
}

/**
 * Let each field say what it said.
 * @param {HTMLFormElement} form
 * @param {(string | boolean)[]} state
 */
export function restore(form, state) {
  fieldsOf(form).forEach((field, n) => {
    const said = state[n];
    if (isTicked(field)) field.checked = said === true;
    else if (typeof said === "string") field.value = said;
  });
}

/**
 * @param {Field} field
 * @returns {field is HTMLInputElement}
 */
function isTicked(field) {
  return field.type === "radio" || field.type === "checkbox";
}
