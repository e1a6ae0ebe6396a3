// stage.js - draws surfaces with three.js: one WebGL context for all figures, each of which keeps what was drawn in a canvas of its own,
// so that it can be printed and marked.
import {
  BufferAttribute,
  BufferGeometry,
  DataTexture,
  DoubleSide,
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

const NO_CUT = new Vector4(0, 0, 0, 1);

const VERTEX = `
precision highp float;
uniform mat4 projectionMatrix, modelViewMatrix;
uniform float extent;
in vec4 corner; // quantised place, and the normal in two bytes
in float value;
out vec3 place;
out vec3 normal;
out float shown;

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
  gl_Position = projectionMatrix * modelViewMatrix * vec4(place, 1.0);
}`;

/* Light changes the lightness of a colour by a tenth at most; a surface without values is shaded as a plain one. */
const FRAGMENT = `
precision highp float;
uniform sampler2D map;
uniform float range;
uniform bool signedValues, plain, flat_, depthOnly;
uniform vec3 light, towards, bare, inside;
uniform vec4 cut;
in vec3 place;
in vec3 normal;
in float shown;
out vec4 colour;

void main() {
  if (dot(cut.xyz, place) > cut.w) discard;
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
  if (plain || !(shown == shown)) {
    colour = vec4(bare * (0.5 + 0.5 * lit), 1.0);
    return;
  }
  float share = signedValues ? 0.5 + shown / (2.0 * range) : shown / range;
  colour = vec4(texture(map, vec2(clamp(share, 0.002, 0.998), 0.5)).rgb * (0.9 + 0.1 * lit), 1.0);
}`;

const LINE_FRAGMENT = `
precision highp float;
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

/** @returns {object|null} null where the browser has no WebGL 2 */
export function openStage({ bare, inside, mark, tables }) {
  let renderer;
  try {
    renderer = new WebGLRenderer({ antialias: true, alpha: true, preserveDrawingBuffer: true });
  } catch {
    return null;
  }
  renderer.setPixelRatio(1);
  renderer.setClearColor(0x000000, 0);
  renderer.autoClear = true;
  const camera = new OrthographicCamera();
  camera.matrixAutoUpdate = false;
  const scene = new Scene();
  const maps = { plain: tableTexture(tables.plain), signed: tableTexture(tables.signed) };
  const kept = new Map();
  const uniforms = {
    extent: { value: 1 },
    map: { value: null },
    range: { value: 1 },
    signedValues: { value: false },
    plain: { value: true },
    flat_: { value: false },
    depthOnly: { value: false },
    light: { value: new Vector3(0, 0, 1) },
    towards: { value: new Vector3(0, 0, 1) },
    bare: { value: colour(bare) },
    inside: { value: colour(inside) },
    mark: { value: colour(parseHex(mark)) },
    cut: { value: NO_CUT },
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

  /** The buffers of a surface, made once. */
  function geometryOf(surface) {
    if (!kept.has(surface)) {
      const corner = new BufferAttribute(surface.corners, 4, true);
      const of = (index) => {
        const geometry = new BufferGeometry();
        geometry.setAttribute('corner', corner);
        if (index) geometry.setIndex(new BufferAttribute(index, 1));
        return geometry;
      };
      kept.set(surface, {
        fine: of(surface.triangles),
        coarse: surface.coarse ? of(surface.coarse) : null,
        sides: null,
        of,
        values: new WeakMap(),
        none: null,
      });
    }
    return kept.get(surface);
  }

  function valuesOf(entry, values, count) {
    if (values === null) return (entry.none ??= new BufferAttribute(new Float32Array(count), 1));
    if (!entry.values.has(values)) entry.values.set(values, new BufferAttribute(values, 1));
    return entry.values.get(values);
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

  function prepare(figure, view, width, height, moving) {
    const { surface } = figure;
    const entry = geometryOf(surface);
    const geometry = moving && entry.coarse ? entry.coarse : entry.fine;
    geometry.setAttribute('value', valuesOf(entry, figure.values, surface.vertexCount));
    mesh.geometry = geometry;
    sides.visible = Boolean(figure.sides) && !moving;
    if (sides.visible) {
      if (entry.sidesOf !== figure.sides) {
        entry.sides = entry.of(figure.sides);
        entry.sidesOf = figure.sides;
      }
      entry.sides.setAttribute('value', valuesOf(entry, figure.values, surface.vertexCount));
      sides.geometry = entry.sides;
    }
    uniforms.extent.value = surface.step * 65535;
    uniforms.plain.value = figure.values === null;
    uniforms.map.value = figure.signed ? maps.signed : maps.plain;
    uniforms.range.value = figure.range;
    uniforms.signedValues.value = figure.signed;
    uniforms.flat_.value = figure.flat;
    uniforms.cut.value = cutFrom(figure.plane, surface);
    aim(view, surface, width, height, figure.ball);
  }

  return {
    /** Draws a figure into a context of a canvas of that size. */
    draw(figure, view, context, { moving = false } = {}) {
      const { width, height } = context.canvas;
      renderer.setSize(width, height, false);
      prepare(figure, view, width, height, moving);
      renderer.render(scene, camera);
      context.clearRect(0, 0, width, height);
      context.drawImage(renderer.domElement, 0, 0);
    },
    /** How near the surface is at each pixel of the figure last drawn, from the top: as project() tells it; -Infinity: nothing. */
    depths(figure, view, width, height) {
      renderer.setSize(width, height, false);
      prepare(figure, view, width, height, false);
      sides.visible = false;
      uniforms.depthOnly.value = true;
      renderer.render(scene, camera);
      uniforms.depthOnly.value = false;
      const gl = renderer.getContext();
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
    /** Lets go of the buffers of surfaces that are not shown any more. */
    keepOnly(surfaces) {
      for (const [surface, entry] of kept)
        if (!surfaces.includes(surface)) {
          [entry.fine, entry.coarse, entry.sides].forEach((geometry) => geometry?.dispose());
          kept.delete(surface);
        }
    },
  };
}
