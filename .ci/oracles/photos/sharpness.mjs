// Reads the bytes of a grey picture of the given width and height and answers the standard
// deviation of its Laplacian, which sharp divides by 9.
import sharp from "sharp";

const [width, height] = process.argv.slice(2).map(Number);
const chunks = [];
for await (const chunk of process.stdin) chunks.push(chunk);
const stats = await sharp(Buffer.concat(chunks), { raw: { width, height, channels: 1 } }).stats();
process.stdout.write(String(stats.sharpness * 9));
