// One labelled field: a slider with its number, a number, a text, or a choice. Native inputs, so keyboard and screen readers work.
// "move" is sent while a slider is held (at most every 40 ms, the last one always); "settle" once when it is let go.
let count = 0;

export default {
  template: `
    <div class="bt-field" :class="'bt-' + kind">
      <label :for="uid">{{ label }}<span v-if="hint" class="bt-hint"> {{ hint }}</span></label>
      <div class="bt-inputs">
        <template v-if="kind === 'slider'">
          <input type="range" :id="uid" :min="min" :max="max" :step="step" :disabled="off" v-model.number="now"
                 :aria-valuetext="now + ' ' + unit" @input="moved" @change="settled">
          <input type="number" :aria-label="label + ', ' + unit" :min="min" :max="max" :step="step" :disabled="off"
                 v-model.number="typed" @change="settledTyped">
        </template>
        <input v-else-if="kind === 'number'" type="number" :id="uid" :min="min" :max="max" :step="step" :disabled="off"
               v-model="typed" @change="settledTyped">
        <input v-else-if="kind === 'text'" type="text" :id="uid" :maxlength="max || 200" :disabled="off" v-model="now"
               autocomplete="off" @change="settled">
        <select v-else :id="uid" :disabled="off" v-model="now" @change="settled">
          <option v-for="o in options" :key="o[0]" :value="o[0]">{{ o[1] }}</option>
        </select>
        <span v-if="unit" class="bt-unit" aria-hidden="true">{{ unit }}</span>
      </div>
    </div>`,
  props: {
    kind: String, label: String, hint: String, unit: String, value: [Number, String], min: Number, max: Number,
    step: Number, options: Array, off: Boolean,
  },
  data() { return { now: this.value, typed: this.value, held: false, uid: `bt-${++count}` }; },
  watch: {
    value(to) { if (!this.held) { this.now = to; this.typed = to; } },
  },
  methods: {
    put(to) { if (!this.held) { this.now = to; this.typed = to; } },
    moved() {
      this.held = true;
      this.typed = this.now;
      clearTimeout(this.later);
      const wait = 40 - (performance.now() - (this.last ?? 0));
      if (wait <= 0) this.tell();
      else this.later = setTimeout(() => this.tell(), wait);
    },
    tell() { this.last = performance.now(); this.$emit("move", this.now); },
    settled() {
      clearTimeout(this.later);
      this.held = false;
      this.typed = this.now;
      this.$emit("settle", this.now);
    },
    settledTyped() {
      if (this.typed === "" || this.typed === null) { this.$emit("settle", null); return; }
      const value = Number(this.typed);
      const fits = Number.isFinite(value) && (this.min === undefined || value >= this.min) && (this.max === undefined || value <= this.max);
      if (!fits) { this.$emit("unfit", this.typed); this.typed = this.now; return; }
      this.now = value;
      this.settled();
    },
  },
};
