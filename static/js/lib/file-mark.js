/**
 * Tells a file again that was chosen before: by its size, the instant it was changed, and a sum over its two ends.
 *
 * Browsers digest only on secure pages, and these are used in plain networks too; what matters in the end is the digest
 * that the server takes of the whole file.
 */

const END = 64 * 1024;

/**
 * @param {Blob & {lastModified: number}} file
 * @returns {Promise<string>} digits and hyphens; rejects when the file cannot be read
 */
export async function markOf(file) {
  const ends = [file.slice(0, END), file.slice(Math.max(0, file.size - END))];
  let sum = 0xffffffff;
  for (const end of ends) sum = crc32(new Uint8Array(await end.arrayBuffer()), sum);
  return `${file.size}-${file.lastModified}-${((sum ^ 0xffffffff) >>> 0).toString(16)}`;
}

/**
 * The checksum of Ethernet and PNG, of which `sum` is what came before.
 * @param {Uint8Array} bytes
 * @param {number} sum
 */
export function crc32(bytes, sum = 0xffffffff) {
  let left = sum;
  for (const byte of bytes) {
    left ^= byte;
    for (let bit = 0; bit < 8; bit += 1) left = (left >>> 1) ^ (left & 1 ? 0xedb88320 : 0);
  }
  return left;
}
