// The program's answers. Everything is asked below the address of this page, of nobody else.

/** The program said no, or nothing. `code` is "gone" where there was no answer at all. */
export class Refusal extends Error {
  constructor(code, text, status = 0) {
    super(text);
    this.code = code;
    this.status = status;
  }
}

export const kGone = "The program does not answer. It may have been ended: start “sendworthy desk” again and open the address it prints.";
const kOther = "The program no longer knows this address: it was started again. Open the address it printed last.";

/** What went wrong, from an answer that is not 2xx. */
export function refusal(status, text) {
  try {
    const {error} = JSON.parse(text);
    if (error && error.text) return new Refusal(String(error.code), String(error.text), status);
  } catch {
    // No JSON: an answer that is not from the page's own part of the program.
  }
  if (status === 404 && !text) return new Refusal("other", kOther, status);
  return new Refusal("refused", `The program refused this (${status}). Load the page again; if that does not help, start the program again.`, status);
}

export async function ask(method, path, body, signal) {
  let answer, text;
  try {
    answer = await fetch(path, {
      method,
      cache: "no-store",
      signal,
      ...(body === undefined ? {} : {body: JSON.stringify(body), headers: {"Content-Type": "application/json"}}),
    });
    text = await answer.text();
  } catch {
    throw new Refusal("gone", kGone);
  }
  if (!answer.ok) throw refusal(answer.status, text);
  if (!text) return {};
  try {
    return JSON.parse(text);
  } catch {
    throw new Refusal("refused", "The program's answer was cut off. Try again.");
  }
}

export const get = (path, signal) => ask("GET", path, undefined, signal);

/** Sends one file; resolves with the answer. `progress` gets the bytes that are over. `signal` stops it. */
export function send(file, name, progress, signal) {
  return new Promise((done, failed) => {
    const request = new XMLHttpRequest();
    request.open("POST", `api/upload?name=${encodeURIComponent(name)}`);
    request.upload.onprogress = (event) => progress(event.loaded);
    request.onload = () => {
      if (request.status < 200 || request.status > 299) return failed(refusal(request.status, request.responseText));
      try {
        done(JSON.parse(request.responseText));
      } catch {
        failed(new Refusal("refused", `“${name}” arrived, but the program's answer was cut off. Add it again.`));
      }
    };
    // The browser does not say which: the file may have been moved or deleted, or the program may be gone.
    request.onerror = () => failed(new Refusal("gone", `“${name}” could not be sent: it was moved or deleted meanwhile, or the program does not answer. Add it again.`));
    request.onabort = () => failed(new Refusal("cancelled", "cancelled"));
    signal.addEventListener("abort", () => request.abort(), {once: true});
    request.setRequestHeader("Content-Type", "application/octet-stream");
    request.send(file);
  });
}
