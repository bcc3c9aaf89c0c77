// Talking to the server on this computer. The key comes in the address behind #, which is never sent anywhere.

const place = new URLSearchParams(location.hash.slice(1));
const key = place.get("key") ?? "";

export const jobInAddress = () => new URLSearchParams(location.hash.slice(1)).get("job");

/** Keep the job in the address, so that a reload or a bookmark comes back to it. */
export function putJobInAddress(id) {
  history.replaceState(null, "", `#${new URLSearchParams({ key, job: id })}`);
}

/** An answer that was no success; `kind` is stale or replaced where the server says so. */
export class ApiError extends Error {
  constructor(status, answer) {
    super(answer?.kind === "replaced" ? "The job has changed since; this was stopped." : answer?.error ?? "The page's server does not answer: is `cutout page` still running?");
    this.status = status;
    this.kind = answer?.kind;
  }
}

async function ask(path, options = {}) {
  let answer;
  try {
    answer = await fetch(path, { ...options, headers: { "x-cutout-key": key, ...options.headers }, cache: "no-store" });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new ApiError(0);
  }
  if (answer.status === 204) throw new ApiError(204, { kind: "replaced" });
  if (!answer.ok) throw new ApiError(answer.status, await answer.json().catch(() => undefined));
  return answer;
}

export const get = async (path, signal) => (await ask(path, { signal })).json();

export const post = async (path, body) =>
  (await ask(path, { method: "POST", body: JSON.stringify(body), headers: { "content-type": "application/json" } })).json();

export const send = async (path, file) =>
  (
    await ask(path, {
      method: "POST",
      body: file,
      headers: { "content-type": "application/octet-stream", "x-file-name": encodeURIComponent(file.name || "picture") },
    })
  ).json();

export const blob = async (path) => (await ask(path)).blob();

/** Fetch a file and hand it to the browser's downloads. */
export async function download(path, name) {
  const address = URL.createObjectURL(await blob(path));
  const link = document.createElement("a");
  link.href = address;
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(address), 60_000);
}
