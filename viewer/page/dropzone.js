// Scans are dropped or chosen here and sent one by one to this machine's own server, with progress and a cancel.
export default {
  template: `
    <div class="bt-drop" :class="{ over }" @dragover.prevent="over = true" @dragleave="over = false" @drop.prevent="dropped">
      <label><span>{{ label }}</span>
        <input type="file" multiple :accept="accept" @change="chosen"></label>
      <p class="bt-note">{{ hint }}</p>
      <p v-if="busy" class="bt-note" role="status">{{ busy }} <progress :value="done" max="1"></progress></p>
    </div>`,
  props: { label: String, hint: String, accept: String, url: String, mostBytes: Number, tooLarge: String, failed: String },
  data() { return { over: false, busy: "", done: 0 }; },
  methods: {
    dropped(e) { this.over = false; this.sendAll([...e.dataTransfer.files]); },
    chosen(e) { this.sendAll([...e.target.files]).then(() => { e.target.value = ""; }); },
    async sendAll(files) { for (const file of files) await this.sendOne(file); },
    sendOne(file) {
      if (file.size > this.mostBytes) { this.$emit("refused", { name: file.name, text: this.tooLarge }); return Promise.resolve(); }
      this.busy = file.name; this.done = 0;
      return new Promise((resolve) => {
        const request = new XMLHttpRequest();
        request.upload.onprogress = (p) => { if (p.lengthComputable) this.done = p.loaded / p.total; };
        request.onloadend = () => {
          this.busy = "";
          let answer = {};
          try { answer = JSON.parse(request.responseText); } catch { /* the text below says what happened */ }
          if (request.status === 200) this.$emit("sent", answer);
          else this.$emit("refused", { name: file.name, text: answer.text ?? (request.responseText.trim() || this.failed) });
          resolve();
        };
        request.open("POST", `${this.url}?name=${encodeURIComponent(file.name)}`);
        request.setRequestHeader("Content-Type", "application/octet-stream");
        request.send(file);
      });
    },
  },
};
