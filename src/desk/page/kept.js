// What was chosen, as long as this tab is open: it survives loading the page again, belongs to this run of the program, and goes
// nowhere.

const of = (name) => `${location.pathname} ${name}`;

export function keep(name, value) {
  try {
    sessionStorage.setItem(of(name), JSON.stringify(value));
  } catch {
    // No storage: it holds until the page is loaded again.
  }
}

/** What was kept; null where nothing was. */
export function kept(name) {
  try {
    return JSON.parse(sessionStorage.getItem(of(name)));
  } catch {
    return null;
  }
}
