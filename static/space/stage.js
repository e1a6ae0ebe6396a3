// stage.js - draws surfaces with three.js: one WebGL context for all figures, each of which keeps what was drawn in a canvas of its own,
// so that it can be printed and marked.
import {
  BufferAttribute,
  BufferGeometry,
  DataTexture,
  DoubleSide,
  GLBufferAttribute,
  GLSL3,
  LineSegments,
  Matrix4,
  Mesh,
  OrthographicCamera,
  RawShaderMaterial,
  Scene,
  Vector3,
  Vector4,
  WebGLRenderer,
} from 'three';
import { axesOf } from './camera.js';
import { TABLE, parseHex } from './colours.js';
import { drawnCorners, levelFor } from './surface.js';

const NO_CUT = new Vector4(0, 0, 0, 1);
const NO_BALL = new Vector4(0, 0, 0, -0);
const MOVING_MOST = 250000; // triangles of all figures together while the camera moves
const MOVING_MOST_SLOW = 75000; // without a graphics card: one coarse level, or several coarsest

/** How numbers are coloured: not at all; smoothly between corners; a triangle by its own; classes a triangle; classes a corner. */
const WAYS = { plain: 0, smooth: 1, sharp: 2, classes: 3, tints: 4 };

const VERTEX = `
precision highp float;
precision highp int;
const int TINTS = 4;
const int REGULAR = 2; // of VALENCE_CLASSES
uniform mat4 projectionMatrix, modelViewMatrix;
uniform float extent;
uniform sampler2D map;
uniform int way;
in vec4 corner; // quantised place, and the normal in two bytes
in float value;
out vec3 place;
out vec3 normal;
out float shown;
flat out float owned; // of the last corner of a triangle: its own
out vec4 tint; // times its weight: 0 where a vertex is regular

vec3 unpack(float packed) {
  int bits = int(packed * 65535.0 + 0.5);
  ivec2 bytes = ivec2(bits & 255, bits >> 8);
  vec2 n = vec2(bytes - 256 * ivec2(greaterThan(bytes, ivec2(127)))) / 127.0;
  float z = 1.0 - abs(n.x) - abs(n.y);
  if (z < 0.0) n = (1.0 - abs(n.yx)) * vec2(n.x < 0.0 ? -1.0 : 1.0, n.y < 0.0 ? -1.0 : 1.0);
  return normalize(vec3(n, z));
}

void main() {
  place = corner.xyz * extent; // from the origin: small numbers, whatever the place of the mesh
  normal = unpack(corner.w);
  shown = value;
  owned = value;
  bool odd = way == TINTS && value == value && int(value) != REGULAR;
  tint = odd ? vec4(texelFetch(map, ivec2(int(value), 0), 0).rgb, 1.0) : vec4(0.0);
  gl_Position = projectionMatrix * modelViewMatrix * vec4(place, 1.0);
}`;

/* Light changes the lightness of a colour by a tenth at most; a surface without values is shaded as a plain one. */
const FRAGMENT = `
precision highp float;
precision highp int;
uniform sampler2D map;
uniform float range;
uniform int way;
uniform bool signedValues, flat_, depthOnly;
uniform vec3 light, towards, bare, inside;
uniform vec4 cut;
uniform vec4 ball; // of full detail: outside of it, or, where the radius is negative, inside, nothing is drawn
in vec3 place;
in vec3 normal;
in float shown;
flat in float owned;
in vec4 tint;
out vec4 colour;

void main() {
  if (dot(cut.xyz, place) > cut.w) discard;
  float apart = distance(place, ball.xyz);
  if (ball.w > 0.0 ? apart > ball.w : apart < -ball.w) discard;
  if (depthOnly) {
    float depth = gl_FragCoord.z;
    colour = vec4(fract(depth * vec3(1.0, 255.0, 65025.0)), 1.0);
    colour.xy -= colour.yz / 255.0;
    return;
  }
  vec3 facing = flat_ ? normalize(cross(dFdx(place), dFdy(place))) : normal;
  if (flat_ && dot(facing, towards) < 0.0) facing = -facing;
  float lit = max(dot(facing, light), 0.0);
  if (!gl_FrontFacing) {
    colour = vec4(inside * (0.9 + 0.1 * abs(dot(facing, light))), 1.0);
    return;
  }
  float number = way == 1 ? shown : owned;
  if (way == 0 || (way != 4 && !(number == number))) {
    colour = vec4(bare * (0.5 + 0.5 * lit), 1.0);
    return;
  }
  vec3 paint = mix(bare, tint.rgb / max(tint.a, 1e-3), smoothstep(0.5, 0.6, tint.a)); // a patch about each vertex, half way out
  if (way == 3) paint = texelFetch(map, ivec2(int(number), 0), 0).rgb;
  if (way < 3) {
    float share = signedValues ? 0.5 + number / (2.0 * range) : number / range;
    paint = texture(map, vec2(clamp(share, 0.002, 0.998), 0.5)).rgb;
  }
  colour = vec4(paint * (way < 3 ? 0.9 + 0.1 * lit : 0.72 + 0.28 * lit), 1.0);
}`;

const LINE_FRAGMENT = `
precision highp float;
precision highp int;
uniform vec4 cut;
uniform vec3 mark;
in vec3 place;
out vec4 colour;
void main() {
  if (dot(cut.xyz, place) > cut.w) discard;
  colour = vec4(mark, 1.0);
}`;

/** Bytes as a colour of the shader, which works in sRGB throughout: a colour is a number. */
const colour = (rgb) => new Vector3(...rgb.map((part) => part / 255));

function tableTexture(table) {
  const texture = new DataTexture(table, TABLE, 1);
  texture.needsUpdate = true;
  return texture;
}

/** Whether the browser draws without a graphics card, by the name of what does: then smooth edges take three times as long. */
function isSlow() {
  const probe = document.createElement('canvas').getContext('webgl2');
  const name = probe?.getExtension('WEBGL_debug_renderer_info')?.UNMASKED_RENDERER_WEBGL ?? probe?.RENDERER;
  const slow = /swiftshader|llvmpipe|softpipe|software|basic render/i.test(probe?.getParameter(name) ?? '');
  probe?.getExtension('WEBGL_lose_context')?.loseContext();
  return slow;
}

/** @returns {object|null} null where the browser has no WebGL 2 */
export function openStage({ bare, inside, mark, tables }) {
  let renderer;
  const slow = isSlow();
  try {
    renderer = new WebGLRenderer({ antialias: !slow, alpha: true, preserveDrawingBuffer: true });
  } catch {
    return null;
  }
  renderer.setPixelRatio(1);
  renderer.setClearColor(0x000000, 0);
  renderer.autoClear = true;
  const camera = new OrthographicCamera();
  camera.matrixAutoUpdate = false;
  const scene = new Scene();
  const gl = renderer.getContext();
  const maps = Object.fromEntries(Object.entries(tables).map(([name, table]) => [name, tableTexture(table)]));
  const kept = new Map();
  const uniforms = {
    extent: { value: 1 },
    map: { value: maps.seq },
    range: { value: 1 },
    signedValues: { value: false },
    way: { value: WAYS.plain },
    flat_: { value: false },
    depthOnly: { value: false },
    light: { value: new Vector3(0, 0, 1) },
    towards: { value: new Vector3(0, 0, 1) },
    bare: { value: colour(bare) },
    inside: { value: colour(inside) },
    mark: { value: colour(parseHex(mark)) },
    cut: { value: NO_CUT },
    ball: { value: NO_BALL },
  };
  const material = new RawShaderMaterial({
    glslVersion: GLSL3,
    vertexShader: VERTEX,
    fragmentShader: FRAGMENT,
    uniforms,
    side: DoubleSide,
    polygonOffset: true,
    polygonOffsetFactor: 1,
    polygonOffsetUnits: 1,
  });
  const lines = new RawShaderMaterial({
    glslVersion: GLSL3,
    vertexShader: VERTEX,
    fragmentShader: LINE_FRAGMENT,
    uniforms,
  });
  const mesh = new Mesh(new BufferGeometry(), material);
  const sides = new LineSegments(new BufferGeometry(), lines);
  mesh.frustumCulled = sides.frustumCulled = false;
  scene.add(mesh, sides);
  renderer.debug.checkShaderErrors = true;

  /** A buffer of our own: only the graphics keep what is in it. */
  function bufferOf(numbers) {
    const buffer = gl.createBuffer();
    gl.bindBuffer(gl.ARRAY_BUFFER, buffer);
    gl.bufferData(gl.ARRAY_BUFFER, numbers, gl.STATIC_DRAW);
    gl.bindBuffer(gl.ARRAY_BUFFER, null);
    return buffer;
  }

  /** The buffers of a surface, made once. */
  function geometryOf(surface) {
    if (!kept.has(surface)) {
      const count = surface.vertexCount + surface.twins.length;
      const corner = new GLBufferAttribute(bufferOf(drawnCorners(surface)), gl.UNSIGNED_SHORT, 4, 2, count, true);
      const of = (index) => {
        const geometry = new BufferGeometry();
        geometry.setAttribute('corner', corner);
        geometry.setIndex(new BufferAttribute(index, 1));
        return geometry;
      };
      kept.set(surface, {
        levels: new Map(),
        sides: null,
        of,
        corner,
        count,
        values: new Map(),
      });
    }
    return kept.get(surface);
  }

  /** Those of one of its levels, made when it is first drawn. */
  function levelOf(entry, index) {
    if (!entry.levels.has(index)) entry.levels.set(index, entry.of(index));
    return entry.levels.get(index);
  }

  /** The numbers of a figure: given back as soon as they are not shown any more. null: zeros. */
  function valuesOf(entry, values) {
    if (!entry.values.has(values)) {
      const buffer = bufferOf(values ?? new Float32Array(entry.count));
      entry.values.set(values, new GLBufferAttribute(buffer, gl.FLOAT, 1, 4, entry.count));
    }
    return entry.values.get(values);
  }
  function letValuesGo(entry, values) {
    gl.deleteBuffer(entry.values.get(values).buffer);
    entry.values.delete(values);
  }

  function aim(view, surface, width, height, ball) {
    const axes = axesOf(view);
    const half = view.half;
    const far = ball.radius + Math.hypot(...ball.centre.map((x, i) => x - view.target[i]));
    camera.left = (-half * width) / height;
    camera.right = (half * width) / height;
    camera.top = half;
    camera.bottom = -half;
    camera.near = 0;
    camera.far = 2 * far;
    camera.updateProjectionMatrix();
    const eye = view.target.map((x, i) => x - surface.origin[i] + far * axes.towards[i]);
    camera.matrix.copy(
      new Matrix4()
        .makeBasis(new Vector3(...axes.right), new Vector3(...axes.up), new Vector3(...axes.towards))
        .setPosition(new Vector3(...eye)),
    );
    camera.matrixWorld.copy(camera.matrix);
    camera.matrixWorldInverse.copy(camera.matrix).invert();
    uniforms.towards.value.set(...axes.towards);
    const mix = axes.towards.map((x, i) => 0.76 * x + 0.55 * axes.up[i] - 0.35 * axes.right[i]);
    uniforms.light.value.set(...mix).normalize();
  }

  /** The plane in coordinates from the surface's origin. */
  function cutFrom(plane, surface) {
    if (!plane) return NO_CUT;
    const [a, b, c, d] = plane;
    const at = surface.origin;
    return new Vector4(a, b, c, d - a * at[0] - b * at[1] - c * at[2]);
  }

  function wayOf({ values, map, per }) {
    if (values === null) return WAYS.plain;
    if (map === 'valence') return WAYS.tints;
    if (map === 'shell') return WAYS.classes;
    return per === 'face' ? WAYS.sharp : WAYS.smooth;
  }

  function ballFrom(figure) {
    if (!figure.hole) return NO_BALL;
    const { at, radius } = figure.hole;
    return new Vector4(...at.map((x, i) => x - figure.surface.origin[i]), figure.isDetail ? radius : -radius);
  }

  /** most: triangles of the surface while the camera moves; Infinity at rest. */
  function prepare(figure, view, width, height, most) {
    const { surface } = figure;
    const entry = geometryOf(surface);
    const geometry = levelOf(entry, levelFor(surface, most));
    geometry.setAttribute('value', valuesOf(entry, figure.values));
    mesh.geometry = geometry;
    sides.visible = Boolean(figure.sides) && most === Infinity;
    if (sides.visible) {
      if (entry.sidesOf !== figure.sides) {
        entry.sides?.dispose();
        entry.sides = entry.of(figure.sides);
        entry.sidesOf = figure.sides;
      }
      entry.sides.setAttribute('value', valuesOf(entry, figure.values));
      sides.geometry = entry.sides;
    }
    uniforms.extent.value = surface.step * 65535;
    uniforms.way.value = wayOf(figure);
    uniforms.map.value = maps[figure.map ?? 'seq'];
    uniforms.range.value = figure.range;
    uniforms.signedValues.value = figure.map === 'div';
    uniforms.ball.value = ballFrom(figure);
    uniforms.flat_.value = figure.flat;
    uniforms.cut.value = cutFrom(figure.plane, surface);
    aim(view, surface, width, height, figure.ball);
  }

  function setSize(width, height) {
    const { width: had, height: high } = renderer.domElement;
    if (had !== width || high !== height) renderer.setSize(width, height, false); // a canvas that is told its size anew is made anew
  }

  /** A figure at rest over the whole canvas, and what is drawn in its place near a finding. */
  function render(figure, view, width, height) {
    setSize(width, height);
    renderer.setScissorTest(false);
    renderer.setViewport(0, 0, width, height);
    renderer.autoClear = true;
    const { detail } = figure;
    prepare(detail ? { ...figure, hole: detail } : figure, view, width, height, Infinity);
    renderer.render(scene, camera);
    if (!detail) return;
    renderer.autoClear = false;
    for (const piece of detail.pieces) {
      prepare({ ...figure, surface: piece, values: piece.values, hole: detail, isDetail: true, sides: null }, view, width, height, Infinity);
      renderer.render(scene, camera);
    }
  }

  /** Puts what lies there on a canvas of ours, from x on, into another. */
  function copy(drawn, context, from, part, left, top) {
    const { width, height } = context.canvas;
    context.clearRect(from, 0, width - from, height);
    if (from < width)
      context.drawImage(drawn, left + from / part, top, (width - from) / part, height / part, from, 0, width - from, height);
  }

  /** What was drawn, fetched from the graphics once. */
  const sheet = document.createElement('canvas').getContext('2d', { willReadFrequently: true });
  function fetchSheet() {
    const { width, height } = renderer.domElement;
    if (sheet.canvas.width !== width || sheet.canvas.height !== height) Object.assign(sheet.canvas, { width, height });
    sheet.globalCompositeOperation = 'copy';
    sheet.drawImage(renderer.domElement, 0, 0);
    return sheet.canvas;
  }

  /** All figures that wait, each in a cell of a grid on our canvas: it is fetched when all are drawn. */
  let waiting = [];
  function renderTogether() {
    const part = !slow ? 1 : waiting.length > 1 ? 3 : 2; // a quarter of the pixels, of several figures a ninth
    const columns = Math.ceil(Math.sqrt(waiting.length));
    const rows = Math.ceil(waiting.length / columns);
    const cell = ['width', 'height'].map((side) => Math.max(...waiting.map(({ context }) => Math.ceil(context.canvas[side] / part))));
    const most = (slow ? MOVING_MOST_SLOW : MOVING_MOST) / waiting.length;
    setSize(columns * cell[0], rows * cell[1]);
    renderer.setScissorTest(true);
    renderer.autoClear = true;
    waiting.forEach((each, i) => {
      const [width, height] = ['width', 'height'].map((side) => Math.ceil(each.context.canvas[side] / part));
      Object.assign(each, { left: (i % columns) * cell[0], top: Math.floor(i / columns) * cell[1] });
      const below = rows * cell[1] - each.top - height;
      renderer.setViewport(each.left, below, width, height);
      renderer.setScissor(each.left, below, width, height);
      prepare(each.figure, each.view, width, height, most);
      renderer.render(scene, camera);
    });
    const drawn = waiting.length > 1 ? fetchSheet() : renderer.domElement;
    waiting.forEach(({ context, from, left, top }) => copy(drawn, context, from, part, left, top));
  }

  return {
    slow,
    /** Draws a figure into a context of a canvas, from x on, over the whole of which it reaches; then does what is drawn over it.
     *  While the camera moves, figures wait for drawWaiting(). */
    draw(figure, view, context, { moving = false, from = 0, then = () => {} } = {}) {
      if (moving) {
        waiting.push({ figure, view, context, from, then });
        return;
      }
      render(figure, view, context.canvas.width, context.canvas.height);
      copy(renderer.domElement, context, from, 1, 0, 0);
      then();
    },
    drawWaiting() {
      if (waiting.length > 0) renderTogether();
      const drawn = waiting;
      waiting = [];
      drawn.forEach(({ then }) => then());
    },
    /** How near the surface is at each pixel of the figure last drawn, from the top: as project() tells it; -Infinity: nothing. */
    depths(figure, view, width, height) {
      uniforms.depthOnly.value = true;
      render({ ...figure, sides: null }, view, width, height);
      uniforms.depthOnly.value = false;
      const pixels = new Uint8Array(4 * width * height);
      gl.readPixels(0, 0, width, height, gl.RGBA, gl.UNSIGNED_BYTE, pixels);
      const far = camera.far / 2;
      return (x, y) => {
        const [px, py] = [Math.round(x), height - 1 - Math.round(y)];
        if (px < 0 || py < 0 || px >= width || py >= height) return -Infinity;
        const at = 4 * (py * width + px);
        if (pixels[at + 3] === 0) return -Infinity;
        const depth = pixels[at] / 255 + pixels[at + 1] / 65025 + pixels[at + 2] / 16581375;
        return far - depth * camera.far;
      };
    },
    /** Lets go of the buffers of surfaces and numbers that are not shown any more. shown: { surface, values } */
    keepOnly(shown) {
      for (const [surface, entry] of kept) {
        const wanted = shown.filter((each) => each.surface === surface).map(({ values }) => values);
        for (const values of entry.values.keys()) if (!wanted.includes(values)) letValuesGo(entry, values);
        if (wanted.length > 0) continue;
        [...entry.levels.values(), entry.sides].forEach((geometry) => geometry?.dispose());
        gl.deleteBuffer(entry.corner.buffer);
        kept.delete(surface);
      }
    },
  };
}
