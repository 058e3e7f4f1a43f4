// The sheet written down as JSON: the contract that every other format is a view of. Keys are sorted by hand; a test
// reads the text back and compares the order.
#include <sendworthy/render.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <iterator>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "base/text.h"
#include "sheet/json_parts.h"
#include "sheet/json_text.h"
#include "sheet/judged_alone.h"
#include "sheet/order.h"
#include "sheet/pair_words.h"
#include "sheet/phrases.h"

namespace sendworthy {
namespace sheet {
namespace {

void write_value(JsonText& json, const Value& value, int decimals) {
  if (const auto* real = std::get_if<double>(&value)) {
    json.number(*real, decimals);
  } else if (const auto* truth = std::get_if<bool>(&value)) {
    json.boolean(*truth);
  } else {
    json.text(std::get<std::string>(value));
  }
}

void write_outcome(JsonText& json, const Outcome& outcome, int decimals) {
  json.key("value");
  if (const auto* value = std::get_if<Value>(&outcome)) {
    write_value(json, *value, decimals);
  } else {
    json.null();
  }
}

/// The reason as it was given: unlike phrases, JSON keeps every character. Never empty where there is no value.
std::string raw_reason(const Outcome& outcome) {
  if (const auto* missing = std::get_if<NotMeasured>(&outcome))
    return missing->reason.empty() ? "no reason given" : missing->reason;
  if (const auto* senseless = std::get_if<NotApplicable>(&outcome))
    return senseless->reason.empty() ? "no reason given" : senseless->reason;
  return reason_of(outcome);
}

void write_places(JsonText& json, const std::vector<Where>& places, std::int64_t total, bool always) {
  if (always || !places.empty()) {
    json.key("where");
    json.begin_array();
    for (const auto& where : places) {
      json.begin_object();
      json.integer("channel", where.channel);
      json.integer("end_frame", where.end_frame);
      json.seconds("end_s", where.end_s);
      json.text_unless_empty("file", where.file);
      json.text("note", where.note);
      json.integer("start_frame", where.start_frame);
      json.seconds("start_s", where.start_s);
      json.end_object();
    }
    json.end_array();
  }
  total = std::max(total, static_cast<std::int64_t>(places.size()));
  if (total > 0) json.integer("where_total", total);
}

void write_measurement(JsonText& json, const Measurement& measurement, const Catalog& catalog) {
  const auto* entry = catalog.find(measurement.id);
  const int decimals = entry != nullptr ? entry->decimals : -1;
  json.begin_object();
  if (std::holds_alternative<NotApplicable>(measurement.outcome)) json.boolean("applicable", false);
  if (!measurement.channels.empty()) {
    json.key("channels");
    json.begin_number_list();
    for (const auto& channel : measurement.channels) channel ? json.number(*channel, decimals) : json.null();
    json.end_array();
  }
  json.text_unless_empty("note", measurement.note);
  json.text_unless_empty("reason", raw_reason(measurement.outcome));
  json.text("unit", entry != nullptr ? to_string(entry->unit) : "");
  write_outcome(json, measurement.outcome, decimals);
  write_places(json, measurement.where, measurement.where_total, false);
  json.end_object();
}

void write_finding(JsonText& json, const Finding& finding, const Catalog& catalog) {
  const int decimals = decimals_of(finding, catalog);
  json.begin_object();
  if (std::holds_alternative<NotApplicable>(finding.outcome)) json.boolean("applicable", false);
  if (finding.status == Status::waived) json.text("before_waiver", to_string(finding.before_waiver));
  if (finding.change_db && std::isfinite(*finding.change_db))
    json.number("change_db", change_to_show(*finding.change_db), 1);
  if (!finding.files.empty()) {
    json.key("files");
    json.begin_array();
    for (const auto& file : finding.files) json.text(file);
    json.end_array();
  }
  if (finding.key != finding.measure) json.text("key", finding.key);
  json.key("limit");
  if (!finding.limit) {
    json.null();
  } else if (const auto* real = std::get_if<double>(&*finding.limit)) {
    json.number(*real, decimals_as_written(*real, decimals));
  } else {
    write_value(json, *finding.limit, decimals);
  }
  json.text("limit_kind", to_string(finding.limit_kind));
  json.text_unless_empty("compare_to", finding.compare_to);
  json.text_unless_empty("limit_text", finding.limit_text);
  json.text("measure", finding.measure);
  json.text_unless_empty("note", finding.note);
  if (finding.optional) json.boolean("optional", true);
  json.text_unless_empty("reason", raw_reason(finding.outcome));
  json.text("remedy", finding.remedy);
  json.text("rule", finding.rule);
  json.text("ruleset", finding.ruleset);
  json.text("source", finding.source);
  json.text("status", to_string(finding.status));
  if (finding.tolerance && std::isfinite(*finding.tolerance)) json.number("tolerance", *finding.tolerance, -1);
  if (finding.true_peak_after_db && std::isfinite(*finding.true_peak_after_db))
    json.number("true_peak_after_db", *finding.true_peak_after_db, 1);
  json.text("unit", to_string(finding.unit));
  write_outcome(json, finding.outcome, decimals);
  if (finding.status == Status::waived) {
    const auto waiver = finding.waiver.value_or(AppliedWaiver{});
    json.key("waiver");
    json.begin_object();
    json.text("by", waiver.by);
    json.text("reason", waiver.reason);
    json.text("until", waiver.until);
    json.end_object();
  }
  write_places(json, finding.where, finding.where_total, true);
  json.text("why", finding.why);
  if (finding.within_tolerance) json.boolean("within_tolerance", true);
  json.end_object();
}

void write_findings(JsonText& json, const std::vector<Finding>& findings, const Catalog& catalog) {
  json.key("findings");
  json.begin_array();
  for (const auto& finding : findings) write_finding(json, finding, catalog);
  json.end_array();
}

void write_facts(JsonText& json, const FileSheet& file) {
  const auto& facts = file.facts;
  json.key("facts");
  json.begin_object();
  if (!file.error || !facts.container.empty()) {
    json.key("bit_depth");
    facts.bit_depth ? json.integer(*facts.bit_depth) : json.null();
    json.text("channel_layout", facts.channel_layout);
    json.integer("channels", facts.channels);
    json.text("container", facts.container);
    json.seconds("duration_s", facts.duration_s);
    json.text("encoding", facts.encoding);
    json.integer("file_size", facts.file_size);
    json.integer("frames", facts.frames);
    json.integer("sample_rate", facts.sample_rate);
    json.key("tags");
    json.begin_array();
    for (const auto& tag : facts.tags) {
      json.begin_object();
      json.text("name", tag.name);
      json.text("origin", tag.origin);
      json.text("value", tag.value);
      json.end_object();
    }
    json.end_array();
  }
  json.end_object();
}

void write_timelines(JsonText& json, const std::vector<Timeline>& timelines) {
  std::vector<std::pair<std::string, const Timeline*>> sorted;
  for (const auto& line : timelines)
    sorted.emplace_back(line.channel > 0 ? line.id + "_ch" + std::to_string(line.channel) : line.id, &line);
  std::stable_sort(sorted.begin(), sorted.end(), [](const auto& a, const auto& b) { return a.first < b.first; });
  json.key("timelines");
  json.begin_object();
  const std::string* previous = nullptr;
  for (const auto& [key, line] : sorted) {
    if (previous != nullptr && *previous == key) continue;
    previous = &key;
    json.key(key);
    json.begin_object();
    json.integer("channel", line->channel);
    json.integer("decimals", line->decimals);
    json.text("id", line->id);
    json.seconds("start_s", line->start_s);
    json.seconds("step_s", line->step_s);
    json.text("unit", line->unit);
    json.key("values");
    json.begin_number_list();
    for (const float value : line->values) json.number(static_cast<double>(value), line->decimals);
    json.end_array();
    json.end_object();
  }
  json.end_object();
}

void write_file(JsonText& json, const FileSheet& file, bool judged, const Catalog& catalog) {
  json.begin_object();
  json.key("cautions");
  json.begin_array();
  for (const auto& caution : file.cautions) {
    json.begin_object();
    json.text("source", caution.source);
    json.text("text", caution.text);
    json.end_object();
  }
  json.end_array();
  json.key("digest");
  json.begin_object();
  json.text_unless_empty("audio", file.audio_digest);
  json.text_unless_empty("file", file.file_digest);
  json.end_object();
  if (file.error) {
    json.key("error");
    json.begin_object();
    json.text("code", to_string(file.error->code));
    json.text("text", file.error->text);
    json.end_object();
  }
  write_facts(json, file);
  write_findings(json, file.findings, catalog);
  json.key("measurements");
  json.begin_object();
  for (const auto* measurement : in_order(file.measurements)) {
    json.key(measurement->key);
    write_measurement(json, *measurement, catalog);
  }
  json.end_object();
  json.text("path", file.path);
  if (base::clean_utf8(file.path) != file.path) json.text("path_bytes", base::percent_encoded(file.path));
  json.text_unless_empty("role", file.role);
  json.key("skipped");
  json.begin_array();
  for (const auto& skipped : file.skipped) {
    json.begin_object();
    json.text("reason", skipped.reason);
    json.text("rule", skipped.rule);
    json.text("ruleset", skipped.ruleset);
    json.end_object();
  }
  json.end_array();
  if (!file.timelines.empty()) write_timelines(json, file.timelines);
  if (judged) json.text("verdict", to_string(file.verdict));
  json.end_object();
}

void write_rules(JsonText& json, const std::vector<RulesUsed>& rules) {
  json.key("rules");
  json.begin_array();
  for (const auto& set : rules) {
    json.begin_object();
    json.text("digest", set.digest);
    json.text("name", set.name);
    json.text("origin", set.origin);
    json.text("purpose", set.purpose);
    json.text("title", set.title);
    json.end_object();
  }
  json.end_array();
}

void write_change(JsonText& json, const Change& change, const Catalog& catalog) {
  const auto* entry = catalog.find(change.id);
  const int decimals = entry != nullptr ? entry->decimals : -1;
  const auto before = number(change.before.outcome), after = number(change.after.outcome);
  json.begin_object();
  json.key("change");
  before && after ? json.number(*after - *before, decimals) : json.null();
  json.text("key", change.key);
  json.key("new");
  write_measurement(json, change.after, catalog);
  json.key("old");
  write_measurement(json, change.before, catalog);
  json.end_object();
}

void write_pair(JsonText& json, const Pair& pair, const Catalog& catalog) {
  json.begin_object();
  json.boolean("aligned", pair.aligned);
  json.key("changes");
  json.begin_array();
  for (const auto& change : pair.changes) write_change(json, change, catalog);
  json.end_array();
  json.key("channel_gains_db");
  json.begin_number_list();
  for (const auto& gain : pair.channel_gains_db) gain && !pair.loose ? json.number(*gain, 3) : json.null();
  json.end_array();
  json.text_unless_empty("clock", pair.clock);
  json.key("edits");
  json.begin_array();
  for (const auto& edit : pair.edits) {
    json.begin_object();
    if (edit.level_db) json.number("level_db", *edit.level_db, 2);
    json.seconds("new_end_s", edit.new_end_s);
    json.seconds("new_start_s", edit.new_start_s);
    json.seconds("old_end_s", edit.old_end_s);
    json.seconds("old_start_s", edit.old_start_s);
    json.text("words", words_of(edit));
    json.end_object();
  }
  json.end_array();
  json.integer("edits_total", pair.edits_total);
  // Where nothing was found in common there is no number, and none is made up.
  const auto number = [&](std::string_view name, double value, int decimals, bool there) { there ? json.number(name, value, decimals) : json.null(name); };
  number("ends_later_s", pair.ends_later_s, 6, pair.aligned);
  json.integer("folded_to_channels", pair.folded_to);
  number("gain_db", pair.gain_db, 3, pair.aligned && !pair.loose);
  json.key("inverted_channels");
  json.begin_number_list();
  for (std::size_t c = 0; c < pair.inverted.size(); ++c) {
    if (pair.inverted[c]) json.integer(static_cast<std::int64_t>(c) + 1);
  }
  json.end_array();
  json.text("kind", to_string(pair.kind));
  number("left_dbfs", pair.left_dbfs, 1, pair.aligned);
  json.text("new", pair.new_path);
  json.integer("new_sample_rate", pair.new_rate);
  json.key("null_by_octave");
  json.begin_array();
  for (const auto& octave : pair.octaves) {
    json.begin_object();
    json.number("centre_hz", octave.centre_hz, 2);
    json.number("change_db", octave.change_db, 2);
    json.number("null_db", octave.null_db, 1);
    json.end_object();
  }
  json.end_array();
  number("null_db", pair.null_db, 1, pair.aligned);
  number("null_outside_edits_db", pair.null_outside_db, 1, pair.aligned);
  json.key("null_over_time");
  json.begin_object();
  json.seconds("step_s", pair.null_step_s);
  json.key("values");
  json.begin_number_list();
  for (const float value : pair.null_over_time) json.number(static_cast<double>(value), 1);
  json.end_array();
  json.end_object();
  number("offset_frames", pair.offset_frames, 2, pair.aligned);
  number("offset_s", pair.offset_s, 6, pair.aligned);
  json.text("old", pair.old_path);
  json.integer("old_sample_rate", pair.old_rate);
  json.text_unless_empty("remark", pair.remark);
  number("speed", pair.speed, 9, pair.aligned);
  json.text("summary", summary_of(pair));
  json.boolean("swapped_channels", pair.swapped);
  json.key("turns");
  json.begin_array();
  for (const auto& turn : pair.turns) {
    json.begin_object();
    json.text("measure", turn.measure);
    json.text("new", to_string(turn.after));
    json.text("old", to_string(turn.before));
    json.text("rule", turn.rule);
    json.text("ruleset", turn.ruleset);
    json.end_object();
  }
  json.end_array();
  json.integer("unchanged", static_cast<std::int64_t>(pair.unchanged));
  json.end_object();
}

void write_order(JsonText& json, const OrderedSet& set) {
  json.key("order");
  json.begin_object();
  json.text_unless_empty("album", set.album);
  json.text("artist", set.artist);
  json.text_unless_empty("client", set.client);
  json.key("items");
  json.begin_array();
  for (const auto& item : set.items) {
    json.begin_object();
    json.key("files");
    json.begin_array();
    for (const auto& file : item.files) json.text(file);
    json.end_array();
    json.text("name", item.name);
    json.boolean("required", item.required);
    json.text_unless_empty("role", item.role);
    json.key("rules");
    json.begin_array();
    for (const auto& name : item.rule_sets) json.text(name);
    json.end_array();
    json.text("version", item.version);
    json.end_object();
  }
  json.end_array();
  json.text("path", set.path);
  json.text("title", set.title);
  json.end_object();
}

void write_tool(JsonText& json, const Sheet& sheet) {
  json.key("tool");
  json.begin_object();
  json.key("libraries");
  json.begin_object();
  for (const auto& [name, version] : sheet.libraries) json.text(name, version);
  json.end_object();
  json.text("name", "sendworthy");
  json.text("version", sheet.tool_version);
  json.end_object();
}

/// The rule sets that judged this file: each leaves a finding or a reason. On a merged sheet they are not the same for all.
std::vector<RulesUsed> rules_of(const FileSheet& file, const std::vector<RulesUsed>& all) {
  if (all.size() < 2) return all;
  std::set<std::string_view> names;
  for (const auto& finding : file.findings) names.insert(finding.ruleset);
  for (const auto& skipped : file.skipped) names.insert(skipped.ruleset);
  std::vector<RulesUsed> rules;
  std::copy_if(all.begin(), all.end(), std::back_inserter(rules),
               [&names](const RulesUsed& set) { return names.count(set.name) > 0; });
  return rules.empty() ? all : rules;
}

/// Findings of the whole set that a verdict over more files may not lose, and warnings of rule sets: whether those hold for
/// more files is seen where lines are merged.
class OfTheSet {
 public:
  explicit OfTheSet(const Sheet& sheet) {
    std::set<std::string_view> here;
    for (const auto& file : sheet.files) here.insert(file.path);
    for (const auto& finding : sheet.findings) {
      const bool weighs = verdict_of({finding}) == Verdict::fail || finding.status == Status::waived;
      if (!weighs && (finding.status != Status::warn || finding.ruleset.empty())) continue;
      // What fails in a few files stands on their lines alone: on every line of thousands, thousands of such would be too much.
      std::set<std::string_view> names(finding.files.begin(), finding.files.end());
      const bool some_here =
          weighs && std::any_of(names.begin(), names.end(), [&here](const auto& name) { return here.count(name) > 0; });
      if (!some_here) names.clear();
      kept_.push_back({&finding, std::move(names)});
    }
  }

  [[nodiscard]] std::vector<Finding> on_line_of(const std::string& path) const {
    std::vector<Finding> findings;
    for (const auto& kept : kept_) {
      if (kept.files.empty() || kept.files.count(path) > 0) findings.push_back(*kept.finding);
    }
    return findings;
  }

 private:
  struct Kept {
    const Finding* finding;
    std::set<std::string_view> files;  ///< none: on every line
  };
  std::vector<Kept> kept_;
};

bool carries_verdict(const Sheet& sheet, const FileSheet& file) { return sheet.judged && (!sheet.song || judged_alone(file)); }

}  // namespace

void facts_as_json(JsonText& json, const FileSheet& file) { write_facts(json, file); }

void measurement_as_json(JsonText& json, const Measurement& measurement, const Catalog& catalog) { write_measurement(json, measurement, catalog); }

}  // namespace sheet

std::string render_json(const Sheet& sheet, const Catalog& catalog) {
  sheet::JsonText json(sheet::JsonText::Style::indented);
  json.begin_object();
  json.key("files");
  json.begin_array();
  for (const auto* file : sheet::in_order(sheet.files)) sheet::write_file(json, *file, sheet::carries_verdict(sheet, *file), catalog);
  json.end_array();
  sheet::write_findings(json, sheet.findings, catalog);
  if (sheet.order) sheet::write_order(json, *sheet.order);
  if (!sheet.pairs.empty()) {
    json.key("pairs");
    json.begin_array();
    for (const auto& pair : sheet.pairs) sheet::write_pair(json, pair, catalog);
    json.end_array();
  }
  if (sheet.song) sheet::song_pairs_as_json(json, *sheet.song);
  sheet::write_rules(json, sheet.rules);
  json.integer("schema", sheet.schema);
  if (sheet.song) sheet::song_as_json(json, *sheet.song);
  sheet::write_tool(json, sheet);
  if (sheet.judged) json.text("verdict", to_string(sheet.verdict));
  json.end_object();
  return json.take() + "\n";
}

std::string render_jsonl(const Sheet& sheet, const Catalog& catalog) {
  std::string lines;
  const sheet::OfTheSet of_the_set(sheet);
  for (const auto* file : sheet::in_order(sheet.files)) {
    sheet::JsonText json(sheet::JsonText::Style::compact);
    json.begin_object();
    json.key("file");
    sheet::write_file(json, *file, sheet::carries_verdict(sheet, *file), catalog);
    if (const auto said = of_the_set.on_line_of(file->path); !said.empty()) sheet::write_findings(json, said, catalog);
    sheet::write_rules(json, sheet::carries_verdict(sheet, *file) || !sheet.judged ? sheet::rules_of(*file, sheet.rules) : std::vector<RulesUsed>{});
    json.integer("schema", sheet.schema);
    sheet::write_tool(json, sheet);
    json.end_object();
    lines += json.take() + "\n";
  }
  return lines;
}

}  // namespace sendworthy
