// What the sender writes for machines: manifest.json and the lists of digests.
#include "sheet/manifest.h"

#include <algorithm>
#include <map>
#include <optional>

#include "base/text.h"
#include "sheet/json_parts.h"
#include "sheet/json_text.h"
#include "sheet/phrases.h"

namespace sendworthy::sheet {
namespace {

/// Speaks against a file, waived or not.
bool stands_open(const Finding& finding) {
  return finding.status == Status::fail || finding.status == Status::warn || finding.status == Status::not_measured;
}

void write_path(JsonText& json, std::string_view path) {
  json.text("path", path);
  if (base::clean_utf8(path) != path) json.text("path_bytes", base::percent_encoded(path));
}

void write_digest(JsonText& json, const SentFile& file) {
  json.key("digest");
  json.begin_object();
  if (file.sheet != nullptr) json.text_unless_empty("audio", file.sheet->audio_digest);
  json.text("md5", file.md5);
  json.text("sha256", file.sha256);
  json.end_object();
}

class Writer {
 public:
  Writer(const Manifest& manifest, const Sheet& sheet, const Catalog& catalog) : manifest_(manifest), sheet_(sheet), catalog_(catalog) {
    if (!sheet.order) return;
    for (const auto& item : sheet.order->items) {
      for (const auto& file : item.files) items_[file].push_back(&item);
    }
  }

  std::string write() {
    json_.begin_object();
    json_.text("$schema", "urn:sendworthy:manifest:1");
    json_.key("also");
    json_.begin_array();
    for (const auto& file : manifest_.files) {
      if (file.kind != SentFile::Kind::item) other(file);
    }
    json_.end_array();
    json_.text_unless_empty("anyway", manifest_.anyway);
    json_.key("files");
    json_.begin_array();
    for (const auto& file : manifest_.files) {
      if (file.kind == SentFile::Kind::item) item(file);
    }
    json_.end_array();
    made();
    open(sheet_.findings, true);
    order();
    json_.text("proves", kProves);
    rules();
    json_.integer("schema", 1);
    json_.key("tool");
    json_.begin_object();
    json_.text("name", "sendworthy");
    json_.text("version", manifest_.tool_version);
    json_.end_object();
    json_.text("verdict", to_string(manifest_.verdict));
    waived();
    json_.end_object();
    return json_.take() + "\n";
  }

 private:
  void other(const SentFile& file) {
    json_.begin_object();
    write_digest(json_, file);
    json_.text("kind", to_string(file.kind));
    write_path(json_, file.path);
    json_.integer("size", file.size);
    json_.end_object();
  }

  void item(const SentFile& file) {
    json_.begin_object();
    write_digest(json_, file);
    if (file.sheet->error) {
      json_.key("error");
      json_.begin_object();
      json_.text("code", to_string(file.sheet->error->code));
      json_.text("text", file.sheet->error->text);
      json_.end_object();
    }
    facts_as_json(json_, *file.sheet);
    json_.key("items");
    json_.begin_array();
    if (const auto found = items_.find(file.sheet->path); found != items_.end()) {
      for (const auto* one : found->second) {
        json_.begin_object();
        json_.text("name", one->name);
        json_.text_unless_empty("role", one->role);
        json_.text("version", one->version);
        json_.end_object();
      }
    }
    json_.end_array();
    json_.key("measurements");
    json_.begin_object();
    for (const auto id : key_measurements()) {
      const auto found = std::ranges::find(file.sheet->measurements, id, &Measurement::key);
      if (found == file.sheet->measurements.end()) continue;
      auto reading = *found;
      reading.where.clear(), reading.where_total = 0;  // the sheet has the places
      json_.key(id);
      measurement_as_json(json_, reading, catalog_);
    }
    json_.end_object();
    open(file.sheet->findings, false);
    write_path(json_, file.path);
    json_.integer("size", file.size);
    json_.text("verdict", to_string(file.sheet->verdict));
    json_.end_object();
  }

  void made() {
    json_.key("made");
    json_.begin_object();
    json_.key("by");
    manifest_.by.empty() ? json_.null() : json_.text(manifest_.by);
    json_.text("date", manifest_.date);
    json_.end_object();
  }

  void files_of(const Finding& finding) {
    json_.key("files");
    json_.begin_array();
    for (const auto& file : finding.files) json_.text(below(manifest_, file));
    json_.end_array();
  }

  void open(const std::vector<Finding>& findings, bool of_the_set) {
    json_.key("open");
    json_.begin_array();
    for (const auto& finding : findings) {
      if (!stands_open(finding)) continue;
      json_.begin_object();
      if (of_the_set) files_of(finding);
      json_.text("rule", finding.rule);
      json_.text("ruleset", finding.ruleset);
      json_.text("status", to_string(finding.status));
      json_.text("words", headline(finding, catalog_));
      json_.end_object();
    }
    json_.end_array();
  }

  void order() {
    json_.key("order");
    json_.begin_object();
    json_.text_unless_empty("album", manifest_.album);
    json_.text("artist", manifest_.artist);
    json_.text_unless_empty("client", manifest_.client);
    json_.text("title", manifest_.title);
    json_.end_object();
  }

  // Where they came from is the sender's machine; what they asked is told by their digest.
  void rules() {
    json_.key("rules");
    json_.begin_array();
    for (const auto& set : sheet_.rules) {
      json_.begin_object();
      json_.text("digest", set.digest);
      json_.text("name", set.name);
      json_.text("title", set.title);
      json_.end_object();
    }
    json_.end_array();
  }

  void waiver(const Finding& finding, std::optional<std::string_view> file) {
    if (finding.status != Status::waived) return;
    const auto waiver = finding.waiver.value_or(AppliedWaiver{});
    json_.begin_object();
    json_.text("by", waiver.by);
    if (file) {
      json_.key("files");
      json_.begin_array();
      json_.text(*file);
      json_.end_array();
    } else {
      files_of(finding);
    }
    json_.text("reason", waiver.reason);
    json_.text("rule", finding.rule);
    json_.text("ruleset", finding.ruleset);
    json_.text("until", waiver.until);
    json_.text("words", headline(finding, catalog_));
    json_.end_object();
  }

  void waived() {
    json_.key("waived");
    json_.begin_array();
    for (const auto& file : manifest_.files) {
      if (file.sheet == nullptr) continue;
      for (const auto& finding : file.sheet->findings) waiver(finding, file.path);
    }
    for (const auto& finding : sheet_.findings) waiver(finding, std::nullopt);
    json_.end_array();
  }

  const Manifest& manifest_;
  const Sheet& sheet_;
  const Catalog& catalog_;
  std::map<std::string, std::vector<const OrderedSet::Item*>> items_;
  JsonText json_{JsonText::Style::indented};
};

}  // namespace

std::string_view to_string(SentFile::Kind kind) {
  switch (kind) {
    case SentFile::Kind::item:
      return "item";
    case SentFile::Kind::order:
      return "order";
    case SentFile::Kind::note:
      return "note";
    case SentFile::Kind::sums:
      return "sums";
    case SentFile::Kind::other:
      break;
  }
  return "other";
}

std::string_view below(const Manifest& manifest, std::string_view shown) {
  if (shown.starts_with(manifest.folder)) shown.remove_prefix(manifest.folder.size());
  return shown;
}

const std::vector<std::string_view>& key_measurements() {
  static const std::vector<std::string_view> kKeys{"duration",    "integrated_loudness", "loudness_range", "max_momentary_loudness", "max_short_term_loudness",
                                                   "sample_peak", "true_peak"};
  return kKeys;
}

std::string render_manifest(const Manifest& manifest, const Sheet& sheet, const Catalog& catalog) { return Writer(manifest, sheet, catalog).write(); }

std::string render_checksums(const std::vector<SentFile>& files, Checksum checksum) {
  std::string out;
  for (const auto& file : files) {
    if (file.kind == SentFile::Kind::sums) continue;
    std::string name;
    for (const char c : file.path) {
      if (c == '\\') {
        name += "\\\\";
      } else if (c == '\n') {
        name += "\\n";
      } else if (c == '\r') {
        name += "\\r";
      } else {
        name += c;
      }
    }
    if (name.size() != file.path.size()) out += '\\';
    if (name == "-") name = "./-";  // by itself it stands for standard input
    out += (checksum == Checksum::sha256 ? file.sha256 : file.md5) + "  " + name + "\n";
  }
  return out;
}

}  // namespace sendworthy::sheet
