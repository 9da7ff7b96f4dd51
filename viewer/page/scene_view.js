// The scene in the middle of the page: layers of glTF, views, picking on a surface, handles to drag, measuring, texts.
// three.js and its loaders come inside the nicegui wheel. Nothing here decides or computes anything of the plan.
import { GLTFLoader, OrbitControls, THREE } from "nicegui-scene";

const CLICK_PX = 5;
const HANDLE_PX = 14;
const VIEWS = {
  right: [-1, 0, 0], left: [1, 0, 0], front: [0, -1, 0], above: [0, 0.0001, 1], behind: [0, 1, 0],
};
const loader = new GLTFLoader();

export default {
  template: `
    <div class="bt-scene" data-initializing>
      <canvas tabindex="0" role="img" :aria-label="label"></canvas>
      <svg class="bt-overlay" aria-hidden="true"></svg>
      <div class="bt-texts" aria-hidden="true"></div>
    </div>`,
  props: { label: String, captions: Object },

  mounted() {
    this.layers = new Map();
    this.hidden = {};
    this.fade = {};
    this.handles = [];
    this.mode = "turn";
    this.pickable = [];
    this.measured = [];
    this.where = "right";
    this.scene = new THREE.Scene();
    this.camera = new THREE.OrthographicCamera(-50, 50, 50, -50, -2000, 4000);
    this.camera.up.set(0, 0, 1);
    this.canvas = this.$el.querySelector("canvas");
    this.overlay = this.$el.querySelector("svg");
    this.texts = this.$el.querySelector(".bt-texts");
    try {
      this.renderer = new THREE.WebGLRenderer({ antialias: true, alpha: true, canvas: this.canvas });
    } catch {
      this.texts.textContent = this.captions.no_webgl;
      this.$el.dataset.failed = "webgl";
      return;
    }
    this.renderer.setPixelRatio(Math.min(window.devicePixelRatio || 1, 2));
    this.light();
    this.controls = new OrbitControls(this.camera, this.canvas);
    this.controls.addEventListener("start", () => { this.turning = true; });
    this.controls.addEventListener("end", () => { this.turning = false; });
    this.controls.addEventListener("change", () => { if (this.turning) this.where = ""; this.draw(); });
    this.listen();
    this.watcher = new ResizeObserver(() => this.resize());
    this.watcher.observe(this.$el);
    this.resize();
    this.look("right");
    const waiting = setInterval(() => {
      if (window.socket?.id === undefined) return;
      clearInterval(waiting);
      this.$el.removeAttribute("data-initializing");
      this.$emit("ready");
    }, 50);
  },

  beforeUnmount() {
    this.watcher?.disconnect();
    this.controls?.dispose();
    this.renderer?.dispose();
  },

  methods: {
    light() {
      this.scene.add(new THREE.HemisphereLight(0xffffff, 0x9a938a, 1.7));
      this.lamp = new THREE.DirectionalLight(0xffffff, 1.9);
      this.scene.add(this.lamp, this.lamp.target);
    },

    // ---- layers -------------------------------------------------------------------------------------------------
    async load(layer, url, tag) {
      const wanted = `${url} ${Math.random()}`;
      this.wanted = { ...this.wanted, [layer]: wanted };
      let gltf;
      try {
        gltf = await loader.loadAsync(url);
      } catch (error) {
        if (this.wanted[layer] === wanted) this.$emit("failed", { layer, text: String(error?.message ?? error) });
        return;
      }
      if (this.wanted[layer] !== wanted) return; // a later load has been asked for meanwhile
      this.drop(layer);
      const root = gltf.scene.getObjectByName("patient") ?? gltf.scene;
      root.matrixAutoUpdate = true; // mm of the patient's frame instead of the standard's metres
      root.position.set(0, 0, 0); root.quaternion.identity(); root.scale.set(1, 1, 1);
      root.updateMatrixWorld(true);
      this.scene.add(root);
      this.layers.set(layer, root);
      root.traverse((node) => this.dress(node, layer));
      this.applyHidden();
      if (this.where && !this.framed?.includes(layer) && ["scans", "live"].includes(layer)) {
        this.framed = [...(this.framed ?? []), layer];
        this.look(this.where); // the first scans, then the first bow, are brought into the picture
      }
      this.draw();
      this.$el.dataset[`layer${layer}`] = tag ?? "";
      this.$emit("loaded", { layer, tag });
    },

    drop(layer) {
      const root = this.layers.get(layer);
      if (!root) return;
      root.traverse((node) => { node.geometry?.dispose(); node.material?.dispose?.(); });
      this.scene.remove(root);
      this.layers.delete(layer);
      this.draw();
    },

    dress(node, layer) {
      const data = node.userData ?? {};
      node.userData.layer = layer;
      if (!node.isMesh) return;
      const own = data.kind ? data : node.parent?.userData ?? {};
      node.userData = { ...own, layer };
      node.material = node.material.clone();
      node.material.side = THREE.DoubleSide;
      node.material.forceSinglePass = false;
      node.userData.base = own.opacity ?? 1;
      this.setOpacity(node);
    },

    setOpacity(node) {
      const opacity = node.userData.base * (this.fade[node.userData.group] ?? 1);
      const glassy = opacity < 0.995;
      node.material.opacity = opacity;
      node.material.transparent = glassy;
      node.material.depthWrite = !glassy;
      node.renderOrder = glassy ? (node.userData.role === "face" ? 3 : node.userData.role === "arch" ? 2 : 1) : 0;
      node.material.needsUpdate = true;
    },

    setHidden(group, off) { this.hidden[group] = off; this.applyHidden(); this.draw(); },

    setFade(group, factor) {
      this.fade[group] = factor;
      this.scene.traverse((node) => { if (node.isMesh && node.userData.group === group) this.setOpacity(node); });
      this.draw();
    },

    applyHidden() {
      this.scene.traverse((node) => {
        const data = node.userData;
        if (!data?.group) return;
        const off = this.hidden[data.group];
        node.visible = off === undefined ? !data.hidden : !off;
      });
    },

    shownBox() {
      const all = new THREE.Box3();
      const main = new THREE.Box3();
      this.scene.updateMatrixWorld(true);
      this.scene.traverse((node) => {
        if (!node.isMesh || !node.visible || !node.geometry) return;
        all.expandByObject(node);
        if (!["face", "strap", "line_before", "line_after"].includes(node.userData.role)) main.expandByObject(node);
      });
      return main.isEmpty() ? all : main;
    },

    // ---- camera -------------------------------------------------------------------------------------------------
    look(where, aim, half) {
      if (!this.controls) return;
      const way = VIEWS[where];
      if (!way) return;
      this.where = where;
      const box = this.shownBox();
      const centre = aim ? new THREE.Vector3(...aim) : box.isEmpty() ? new THREE.Vector3() : box.getCenter(new THREE.Vector3());
      this.controls.target.copy(centre);
      this.camera.position.copy(centre).add(new THREE.Vector3(...way).multiplyScalar(500));
      this.camera.zoom = 1;
      this.half = half ?? this.fitting(box, way);
      this.reframe();
      this.controls.update();
      this.draw();
      this.$el.dataset.view = where;
    },

    lookNear(targets, usual) {
      const side = ["right", "left"].includes(this.where) ? this.where : usual;
      if (targets[side]) this.look(side, targets[side], 15);
    },

    fitting(box, way) {
      if (box.isEmpty()) return 60;
      const size = box.getSize(new THREE.Vector3());
      const [across, high] = Math.abs(way[2]) > 0.5 ? [size.x, size.y] : Math.abs(way[0]) > 0.5 ? [size.y, size.z] : [size.x, size.z];
      const aspect = this.$el.clientWidth / Math.max(this.$el.clientHeight, 1);
      return 0.54 * Math.max(high, across / aspect) + 3;
    },

    reframe() {
      const aspect = this.$el.clientWidth / Math.max(this.$el.clientHeight, 1);
      const half = this.half ?? 60;
      Object.assign(this.camera, { left: -half * aspect, right: half * aspect, top: half, bottom: -half });
      this.camera.updateProjectionMatrix();
    },

    resize() {
      const { clientWidth, clientHeight } = this.$el;
      if (!this.renderer || !clientWidth || !clientHeight) return;
      this.renderer.setSize(clientWidth, clientHeight, false);
      this.overlay.setAttribute("viewBox", `0 0 ${clientWidth} ${clientHeight}`);
      this.reframe();
      this.draw();
    },

    draw() {
      if (this.asked || !this.renderer) return;
      this.asked = true;
      requestAnimationFrame(() => { this.asked = false; this.paint(); });
    },

    paint() {
      this.camera.updateMatrixWorld();
      const back = new THREE.Vector3(0, 0, 1).applyQuaternion(this.camera.quaternion);
      const up = new THREE.Vector3(0, 1, 0).applyQuaternion(this.camera.quaternion);
      const right = new THREE.Vector3(1, 0, 0).applyQuaternion(this.camera.quaternion);
      this.lamp.target.position.copy(this.controls.target);
      this.lamp.position.copy(this.controls.target).add(back).addScaledVector(up, 0.7).addScaledVector(right, -0.5);
      this.renderer.render(this.scene, this.camera);
      this.paintOverlay();
      this.paintTexts();
      this.frames = (this.frames ?? 0) + 1;
      this.$el.dataset.frames = this.frames;
    },

    // ---- points on the screen -----------------------------------------------------------------------------------
    onScreen(point) {
      const v = new THREE.Vector3(...point).project(this.camera);
      return [(0.5 + 0.5 * v.x) * this.$el.clientWidth, (0.5 - 0.5 * v.y) * this.$el.clientHeight, v.z];
    },

    hit(event) {
      const box = this.canvas.getBoundingClientRect();
      const at = new THREE.Vector2(2 * (event.clientX - box.left) / box.width - 1, 1 - 2 * (event.clientY - box.top) / box.height);
      const ray = new THREE.Raycaster();
      ray.setFromCamera(at, this.camera);
      const targets = [];
      this.scene.traverse((node) => {
        if (!node.isMesh || !node.visible || node.userData.kind !== "surface") return;
        if (node.userData.layer === "scans" && (!this.pickable.length || this.pickable.includes(node.userData.role))) targets.push(node);
      });
      const found = ray.intersectObjects(targets, false)[0];
      if (!found) return null;
      const normal = found.face.normal.clone().transformDirection(found.object.matrixWorld);
      if (normal.dot(ray.ray.direction) > 0) normal.negate();
      return { point: found.point.toArray(), normal: normal.toArray(), item: found.object.userData.item, role: found.object.userData.role };
    },

    // ---- pointer and keys ---------------------------------------------------------------------------------------
    listen() {
      this.canvas.addEventListener("pointerdown", (e) => this.down(e), true);
      this.canvas.addEventListener("pointermove", (e) => this.move(e));
      this.canvas.addEventListener("pointerup", (e) => this.up(e));
      this.canvas.addEventListener("pointercancel", () => this.release());
      this.canvas.addEventListener("keydown", (e) => this.key(e));
      this.canvas.addEventListener("webglcontextlost", (e) => { e.preventDefault(); this.$emit("failed", { layer: "", text: "webgl" }); });
      this.canvas.addEventListener("webglcontextrestored", () => this.draw());
    },

    down(e) {
      this.start = [e.clientX, e.clientY];
      this.held = e.button === 0 ? this.handleAt(e) : null;
      if (this.held) {
        this.controls.enabled = false;
        this.canvas.setPointerCapture(e.pointerId);
        e.stopImmediatePropagation();
        this.$emit("handle", { id: this.held.id });
      }
    },

    move(e) {
      if (this.held) {
        const found = this.surfaceFor(this.held, e);
        if (found) { this.held.at = found.point; this.held.moved = found; this.draw(); }
      } else {
        this.canvas.style.cursor = this.handleAt(e) ? "grab" : this.mode === "turn" ? "" : "crosshair";
      }
    },

    surfaceFor(handle, e) {
      const before = this.pickable;
      this.pickable = handle.roles ?? before;
      const found = this.hit(e);
      this.pickable = before;
      return found;
    },

    up(e) {
      const held = this.held;
      this.release();
      if (held) {
        if (held.moved) this.$emit("dragged", { id: held.id, ...held.moved });
        return;
      }
      if (e.button !== 0 || Math.hypot(e.clientX - this.start[0], e.clientY - this.start[1]) > CLICK_PX) return;
      if (this.mode === "turn") return;
      const found = this.hit(e);
      if (!found) { this.$emit("missed"); return; }
      if (this.mode === "measure") this.addMeasured(found.point);
      else this.$emit("picked", found);
    },

    release() { this.held = null; if (this.controls) this.controls.enabled = true; },

    handleAt(e) {
      if (this.mode === "measure") return null; // measuring moves nothing
      const box = this.canvas.getBoundingClientRect();
      const [x, y] = [e.clientX - box.left, e.clientY - box.top];
      let best = null, least = HANDLE_PX;
      for (const h of this.handles) {
        if (h.fixed) continue;
        const [hx, hy] = this.onScreen(h.at);
        const d = Math.hypot(hx - x, hy - y);
        if (d < least) { least = d; best = h; }
      }
      return best;
    },

    key(e) {
      const turn = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[e.key];
      if (turn) this.turnBy(turn[0] * 0.13, turn[1] * 0.13);
      else if (e.key === "+" || e.key === "=") this.zoomBy(1.2);
      else if (e.key === "-") this.zoomBy(1 / 1.2);
      else return;
      e.preventDefault();
    },

    turnBy(around, over) {
      const away = this.camera.position.clone().sub(this.controls.target);
      const ball = new THREE.Spherical().setFromVector3(new THREE.Vector3(away.x, away.z, -away.y));
      ball.theta -= around;
      ball.phi = Math.min(Math.PI - 0.001, Math.max(0.001, ball.phi - over));
      const turned = new THREE.Vector3().setFromSpherical(ball);
      this.camera.position.copy(this.controls.target).add(new THREE.Vector3(turned.x, -turned.z, turned.y));
      this.where = "";
      this.controls.update();
      this.draw();
    },

    zoomBy(factor) {
      this.camera.zoom = Math.min(60, Math.max(0.2, this.camera.zoom * factor));
      this.camera.updateProjectionMatrix();
      this.draw();
    },

    // ---- modes --------------------------------------------------------------------------------------------------
    setMode(mode, roles) {
      this.mode = mode;
      this.pickable = roles ?? [];
      this.$el.dataset.mode = mode;
      if (mode !== "measure") this.measured = [];
      this.draw();
    },

    setHandles(handles) { this.handles = handles; this.$el.dataset.handles = handles.length; this.draw(); },

    addMeasured(point) {
      this.measured = this.measured.length === 2 ? [point] : [...this.measured, point];
      if (this.measured.length === 2) this.$emit("measured", { a: this.measured[0], b: this.measured[1] });
      this.draw();
    },

    setMeasureText(text) { this.measureText = text; this.draw(); },

    // ---- what is drawn over the picture -------------------------------------------------------------------------
    paintOverlay() {
      const parts = [];
      const mark = (tag, attributes) => {
        const node = document.createElementNS("http://www.w3.org/2000/svg", tag);
        for (const [k, v] of Object.entries(attributes)) node.setAttribute(k, v);
        parts.push(node);
      };
      for (const h of this.handles) {
        const [x, y] = this.onScreen(h.at);
        const kind = `bt-handle ${h.state ?? ""} ${h.chosen ? "chosen" : ""}`;
        mark("circle", { cx: x, cy: y, r: h.chosen ? 8 : 6, class: kind });
        mark("circle", { cx: x, cy: y, r: 1.6, class: "bt-handle-dot" });
      }
      const ends = this.measured.map((p) => this.onScreen(p));
      for (const [x, y] of ends) mark("circle", { cx: x, cy: y, r: 4, class: "bt-measure" });
      if (ends.length === 2) mark("line", { x1: ends[0][0], y1: ends[0][1], x2: ends[1][0], y2: ends[1][1], class: "bt-measure" });
      this.overlay.replaceChildren(...parts);
    },

    paintTexts() {
      const wanted = [];
      for (const h of this.handles) if (h.text) wanted.push({ text: h.text, at: h.at, order: h.chosen ? 0 : 2, kind: "handle" });
      if (this.measured.length === 2 && this.measureText) {
        const mid = this.measured[0].map((v, k) => 0.5 * (v + this.measured[1][k]));
        wanted.push({ text: this.measureText, at: mid, order: 0, kind: "measure" });
      }
      const mmPerPx = 2 * this.half / this.camera.zoom / Math.max(this.$el.clientHeight, 1);
      this.scene.traverse((node) => {
        const data = node.userData;
        if (!data?.text || !node.visible || node.isMesh && node.parent?.userData?.text) return;
        if (data.side && ["right", "left"].includes(this.where) && data.side !== this.where) return;
        if (data.close_up && mmPerPx > 0.14 && !["target", "bend"].includes(data.role)) return;
        wanted.push({ text: data.text, at: data.at, order: data.role === "target" ? 1 : 3, kind: data.role, ink: data.ink });
      });
      this.placeTexts(wanted.sort((a, b) => a.order - b.order));
    },

    placeTexts(wanted) {
      const taken = [], shown = [], seen = new Set();
      const [width, height] = [this.$el.clientWidth, this.$el.clientHeight];
      for (const w of wanted) {
        const [x, y] = this.onScreen(w.at);
        if (x < 0 || y < 0 || x > width || y > height || seen.has(`${w.text}|${Math.round(x)}`)) continue;
        const [wide, high] = [7.0 * w.text.length + 8, 17];
        const spots = [[x + 9, y - high - 2], [x + 9, y + 4], [x - wide - 9, y - high - 2], [x - wide - 9, y + 4], [x - wide / 2, y - 2 * high], [x - wide / 2, y + high]];
        const free = spots.find(([l, t]) => l > 2 && t > 2 && l + wide < width - 2 && t + high < height - 2
          && !taken.some(([a, b, c, d]) => l < c && a < l + wide && t < d && b < t + high));
        if (!free) continue;
        seen.add(`${w.text}|${Math.round(x)}`);
        taken.push([free[0], free[1], free[0] + wide, free[1] + high]);
        const node = document.createElement("span");
        node.textContent = w.text;
        node.className = `bt-tag ${w.kind === "handle" || w.kind === "measure" ? "bt-tag-mark" : ""}`;
        node.style.cssText = `left:${free[0]}px;top:${free[1]}px;`;
        shown.push(node);
      }
      this.texts.replaceChildren(...shown);
    },

    // ---- the picture to take away -------------------------------------------------------------------------------
    savePicture(name, lines) {
      this.paint(); // drawing buffer and copy in one turn, so that it is not yet cleared
      const ratio = this.canvas.width / this.$el.clientWidth;
      const foot = 18 * lines.length + 12;
      const copy = document.createElement("canvas");
      copy.width = this.canvas.width;
      copy.height = this.canvas.height + foot * ratio;
      const pen = copy.getContext("2d");
      pen.fillStyle = "#ffffff";
      pen.fillRect(0, 0, copy.width, copy.height);
      pen.drawImage(this.canvas, 0, 0);
      pen.scale(ratio, ratio);
      pen.textBaseline = "top";
      this.penTexts(pen, lines);
      copy.toBlob((blob) => {
        const link = document.createElement("a");
        link.href = URL.createObjectURL(blob);
        link.download = name;
        link.click();
        setTimeout(() => URL.revokeObjectURL(link.href), 10000);
      }, "image/png");
    },

    penTexts(pen, lines) {
      pen.font = "12px sans-serif";
      const corner = this.$el.getBoundingClientRect();
      for (const node of this.texts.children) {
        const box = node.getBoundingClientRect();
        pen.fillStyle = "rgba(255,255,255,0.85)";
        pen.fillRect(box.left - corner.left, box.top - corner.top, box.width, box.height);
        pen.fillStyle = "#111827";
        pen.fillText(node.textContent, box.left - corner.left + 3, box.top - corner.top + 2);
      }
      pen.fillStyle = "#111827";
      lines.forEach((line, k) => pen.fillText(line, 8, this.$el.clientHeight + 8 + 18 * k, this.$el.clientWidth - 16));
    },
  },
};
