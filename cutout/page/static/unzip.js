// Files out of a zip (PKWARE's APPNOTE 6.3, the parts a plain archive needs), with the browser's own inflating.

const END = 0x06054b50;
const ENTRY = 0x02014b50;

/** Every file of an archive as a File. Rejects with a sentence for one that can't be read or is larger than `most` bytes. */
export async function unpacked(file, most) {
  if (file.size > most) throw new Error(`it is larger than ${most / 1e6} MB.`);
  const data = new DataView(await file.arrayBuffer());
  const end = findEnd(data);
  if (end < 0) throw new Error("it is not a zip.");
  const files = [];
  let at = data.getUint32(end + 16, true);
  for (let n = data.getUint16(end + 10, true); n > 0; n -= 1) {
    if (data.getUint32(at, true) !== ENTRY) throw new Error("its list of files is broken.");
    const [method, size, full] = [data.getUint16(at + 10, true), data.getUint32(at + 20, true), data.getUint32(at + 24, true)];
    const [name, extra, comment, local] = [data.getUint16(at + 28, true), data.getUint16(at + 30, true), data.getUint16(at + 32, true), data.getUint32(at + 42, true)];
    const called = new TextDecoder().decode(new Uint8Array(data.buffer, at + 46, name));
    if (full > most) throw new Error(`${called} in it is larger than ${most / 1e6} MB.`);
    const begin = local + 30 + data.getUint16(local + 26, true) + data.getUint16(local + 28, true);
    files.push(new File([await inflated(new Uint8Array(data.buffer, begin, size), method)], called));
    at += 46 + name + extra + comment;
  }
  return files;
}

function findEnd(data) {
  for (let at = data.byteLength - 22; at >= Math.max(0, data.byteLength - 65_557); at -= 1) {
    if (data.getUint32(at, true) === END) return at;
  }
  return -1;
}

async function inflated(bytes, method) {
  if (method === 0) return bytes;
  if (method !== 8) throw new Error("it is packed in a way that is not known here.");
  return new Response(new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate-raw"))).arrayBuffer();
}
