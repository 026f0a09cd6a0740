/**
 * A small WebGL scene: surfaces and lines with one value a corner, coloured by a table; parallel
 * projection, drawn only when something changed. Shades by the surface's own slope, so that no
 * normals travel.
 */

export interface Body {
  vertices: Float32Array;
  /** Triangles, or pairs of points where `lines`. */
  faces: Uint32Array;
  values: Float32Array;
  /** Values at the ends of the colour table. */
  ends: [number, number];
  /** 256 RGBA colours. */
  table: Uint8Array;
  lines?: boolean;
  /** One colour for all, in place of the table. */
  plain?: [number, number, number];
}

export interface Camera {
  /** From straight ahead towards the car's left, radians. */
  azimuth: number;
  elevation: number;
  zoom: number;
  /** Of the middle of the picture, in picture heights. */
  shift: [number, number];
}

/** Light added to a surface that is black and faces the lamp, on dark paper. */
const RELIEF = 0.34;

const VERTEX = `#version 300 es
in vec3 place; in float value; uniform mat4 turn; out float v; out vec3 p;
void main() { v = value; p = place; gl_Position = turn * vec4(place, 1.0); }`;

const FRAGMENT = `#version 300 es
precision highp float; in float v; in vec3 p; out vec4 colour;
uniform sampler2D table; uniform vec2 ends; uniform vec3 lamp; uniform vec4 plain; uniform float flat_; uniform float relief;
void main() {
  float share = clamp((v - ends.x) / (ends.y - ends.x), 0.0, 1.0);
  vec3 own = texture(table, vec2((share * 255.0 + 0.5) / 256.0, 0.5)).rgb;
  if (!(v == v)) own = plain.rgb;
  if (plain.a > 0.5) own = plain.rgb;
  float light = 1.0;
  if (flat_ < 0.5) {
    float facing = abs(dot(normalize(cross(dFdx(p), dFdy(p))), lamp));
    light = 0.62 + 0.42 * (0.5 + 0.5 * facing);
    // on dark paper what has the paper's colour would be lost in it: its slope shows
    own += relief * (0.5 + 0.5 * facing) * (1.0 - max(own.r, max(own.g, own.b)));
  }
  colour = vec4(min(own * light, vec3(1.0)), 1.0);
}`;

interface Held {
  body: Body;
  array: WebGLVertexArrayObject;
  buffers: WebGLBuffer[];
  table: WebGLTexture;
}

export class Scene {
  readonly camera: Camera = { azimuth: 0.62, elevation: 0.33, zoom: 1, shift: [0, 0] };
  private readonly gl: WebGL2RenderingContext;
  private readonly program: WebGLProgram;
  private held: Held[] = [];
  private waiting = 0;
  private paper: [number, number, number] = [1, 1, 1];

  constructor(
    private readonly canvas: HTMLCanvasElement,
    private readonly low: number[],
    private readonly high: number[],
  ) {
    const gl = canvas.getContext("webgl2", { antialias: true, preserveDrawingBuffer: true });
    if (!gl) throw new Error("no WebGL");
    this.gl = gl;
    this.program = linked(gl);
    gl.enable(gl.DEPTH_TEST);
  }

  /** Show these bodies and nothing else. */
  show(bodies: Body[], paper: [number, number, number]): void {
    for (const one of this.held) this.drop(one);
    this.held = bodies.filter((b) => b.faces.length > 0).map((body) => this.hold(body));
    this.paper = paper;
    this.ask();
  }

  /** Draw at the next frame. */
  ask(): void {
    if (!this.waiting)
      this.waiting = requestAnimationFrame(() => {
        this.waiting = 0;
        this.draw();
      });
  }

  close(): void {
    cancelAnimationFrame(this.waiting);
    for (const one of this.held) this.drop(one);
    this.held = [];
  }

  draw(): void {
    const { gl, canvas, program } = this;
    const ratio = devicePixelRatio || 1;
    const [w, h] = [Math.round(canvas.clientWidth * ratio), Math.round(canvas.clientHeight * ratio)];
    if (!w || !h) return;
    if (canvas.width !== w) canvas.width = w;
    if (canvas.height !== h) canvas.height = h;
    gl.viewport(0, 0, w, h);
    gl.clearColor(...this.paper, 1);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    gl.useProgram(program);
    const [matrix, lamp] = this.matrix(w / h);
    gl.uniformMatrix4fv(gl.getUniformLocation(program, "turn"), false, matrix);
    gl.uniform3f(gl.getUniformLocation(program, "lamp"), lamp[0], lamp[1], lamp[2]);
    const isDark = this.paper[0] + this.paper[1] + this.paper[2] < 1.5;
    gl.uniform1f(gl.getUniformLocation(program, "relief"), isDark ? RELIEF : 0);
    for (const { body, array, table } of this.held) {
      gl.bindVertexArray(array);
      gl.bindTexture(gl.TEXTURE_2D, table);
      gl.uniform2f(gl.getUniformLocation(program, "ends"), body.ends[0], body.ends[1]);
      const plain = body.plain ?? [0.6, 0.6, 0.6];
      gl.uniform4f(gl.getUniformLocation(program, "plain"), plain[0], plain[1], plain[2], body.plain ? 1 : 0);
      gl.uniform1f(gl.getUniformLocation(program, "flat_"), body.lines ? 1 : 0);
      gl.drawElements(body.lines ? gl.LINES : gl.TRIANGLES, body.faces.length, gl.UNSIGNED_INT, 0);
    }
    gl.bindVertexArray(null);
  }

  /** Axes of the picture, and how many metres its height shows. */
  private frame(): { right: number[]; up: number[]; eye: number[]; size: number; middle: number[] } {
    const { azimuth: a, elevation: e, zoom } = this.camera;
    const eye = [-Math.cos(a) * Math.cos(e), -Math.sin(a) * Math.cos(e), Math.sin(e)];
    const right = [Math.sin(a), -Math.cos(a), 0];
    const up = cross(eye, right);
    const middle = this.low.map((v, n) => (v + this.high[n]) / 2);
    const span = Math.hypot(...this.low.map((v, n) => this.high[n] - v));
    return { right, up, eye, size: span / zoom, middle };
  }

  private matrix(aspect: number): [Float32Array, number[]] {
    const { right, up, eye, size, middle } = this.frame();
    const height = size / Math.min(1.6, Math.max(aspect, 0.6));
    const [sx, sy, sz] = [2 / (height * aspect), 2 / height, -0.1 / size];
    const [ox, oy] = this.camera.shift;
    const row = (axis: number[], s: number, o: number) => [
      s * axis[0], s * axis[1], s * axis[2], o - s * dot(axis, middle),
    ];
    const r = [row(right, sx, 2 * ox / aspect), row(up, sy, 2 * oy), row(eye, sz, 0), [0, 0, 0, 1]];
    const matrix = new Float32Array(16);
    for (let i = 0; i < 4; i++) for (let j = 0; j < 4; j++) matrix[4 * j + i] = r[i][j];
    const lamp = [0, 1, 2].map((n) => -0.35 * right[n] + 0.55 * up[n] + 0.76 * eye[n]);
    return [matrix, lamp];
  }

  private hold(body: Body): Held {
    const { gl, program } = this;
    const array = gl.createVertexArray()!;
    gl.bindVertexArray(array);
    const buffers = [this.attribute("place", body.vertices, 3), this.attribute("value", body.values, 1)];
    const index = gl.createBuffer()!;
    gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, index);
    gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, body.faces, gl.STATIC_DRAW);
    gl.bindVertexArray(null);
    const table = gl.createTexture()!;
    gl.bindTexture(gl.TEXTURE_2D, table);
    gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGBA, 256, 1, 0, gl.RGBA, gl.UNSIGNED_BYTE, body.table);
    for (const key of [gl.TEXTURE_MIN_FILTER, gl.TEXTURE_MAG_FILTER]) gl.texParameteri(gl.TEXTURE_2D, key, gl.LINEAR);
    for (const key of [gl.TEXTURE_WRAP_S, gl.TEXTURE_WRAP_T]) gl.texParameteri(gl.TEXTURE_2D, key, gl.CLAMP_TO_EDGE);
    gl.useProgram(program);
    return { body, array, buffers: [...buffers, index], table };
  }

  private attribute(name: string, data: Float32Array, size: number): WebGLBuffer {
    const { gl, program } = this;
    const buffer = gl.createBuffer()!;
    gl.bindBuffer(gl.ARRAY_BUFFER, buffer);
    gl.bufferData(gl.ARRAY_BUFFER, data, gl.STATIC_DRAW);
    const at = gl.getAttribLocation(program, name);
    gl.enableVertexAttribArray(at);
    gl.vertexAttribPointer(at, size, gl.FLOAT, false, 0, 0);
    return buffer;
  }

  private drop({ array, buffers, table }: Held): void {
    this.gl.deleteVertexArray(array);
    for (const buffer of buffers) this.gl.deleteBuffer(buffer);
    this.gl.deleteTexture(table);
  }
}

function linked(gl: WebGL2RenderingContext): WebGLProgram {
  const program = gl.createProgram()!;
  for (const [kind, text] of [[gl.VERTEX_SHADER, VERTEX], [gl.FRAGMENT_SHADER, FRAGMENT]] as const) {
    const shader = gl.createShader(kind)!;
    gl.shaderSource(shader, text);
    gl.compileShader(shader);
    if (!gl.getShaderParameter(shader, gl.COMPILE_STATUS)) throw new Error(gl.getShaderInfoLog(shader) ?? "shader");
    gl.attachShader(program, shader);
  }
  gl.linkProgram(program);
  if (!gl.getProgramParameter(program, gl.LINK_STATUS)) throw new Error(gl.getProgramInfoLog(program) ?? "link");
  return program;
}

const dot = (a: number[], b: number[]) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const cross = (a: number[], b: number[]) => [
  a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0],
];
