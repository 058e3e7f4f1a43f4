// How files are told apart, and how the program is asked for them: by a path, by an id where the path is no text, or as an upload.

export const keyOf = (entry) => (entry.upload !== undefined ? `upload:${entry.upload}` : entry.id !== undefined ? `id:${entry.id}` : `path:${entry.path}`);
export const askedAs = (entry) => (entry.upload !== undefined ? {upload: entry.upload} : entry.id !== undefined ? {id: entry.id} : {path: entry.path});
