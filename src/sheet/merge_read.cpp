#include "sheet/merge_read.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <exception>
#include <nlohmann/json.hpp>
#include <unordered_set>
#include <utility>

#include "base/text.h"
#include "sheet/not_utf8.h"

namespace sendworthy::sheet {
namespace {

using Json = nlohmann::json;

constexpr double kLongestTime = 1e9;                          // 31 years
constexpr std::int64_t kMostFrames = std::int64_t{1} << 53u;  // beyond, doubles no longer count

/// Thrown and caught in this file only.
struct Misshapen {
  std::string what;
};

[[noreturn]] void misshapen(std::string_view name, std::string_view wanted) {
  throw Misshapen{"\"" + std::string(name) + "\" must be " + std::string(wanted)};
}

const Json& member(const Json& object, const char* name) {
  const auto found = object.find(name);
  if (found == object.end()) throw Misshapen{"\"" + std::string(name) + "\" is missing"};
  return *found;
}

const Json* optional_member(const Json& object, const char* name) {
  const auto found = object.find(name);
  return found == object.end() ? nullptr : &*found;
}

const Json& as_object(const Json& json, const char* name) {
  if (!json.is_object()) misshapen(name, "an object");
  return json;
}

const Json& array(const Json& object, const char* name) {
  const auto& json = member(object, name);
  if (!json.is_array()) misshapen(name, "a list");
  return json;
}

std::string as_text(const Json& json, const char* name) {
  if (!json.is_string()) misshapen(name, "text");
  return json.get<std::string>();
}

std::string text(const Json& object, const char* name) { return as_text(member(object, name), name); }

std::string optional_text(const Json& object, const char* name) {
  const auto* json = optional_member(object, name);
  return json != nullptr ? as_text(*json, name) : "";
}

bool optional_flag(const Json& object, const char* name, bool fallback) {
  const auto* json = optional_member(object, name);
  if (json == nullptr) return fallback;
  if (!json->is_boolean()) misshapen(name, "true or false");
  return json->get<bool>();
}

double as_number(const Json& json, const char* name) {
  if (!json.is_number()) misshapen(name, "a number");
  const double value = json.get<double>();
  if (!std::isfinite(value)) misshapen(name, "a finite number");
  return value;
}

double time(const Json& object, const char* name) {
  const double seconds = as_number(member(object, name), name);
  if (seconds < 0 || seconds > kLongestTime) misshapen(name, "a time between 0 and 1e9 s");
  return seconds;
}

std::int64_t whole(const Json& object, const char* name, std::int64_t most) {
  const auto& json = member(object, name);
  if (!json.is_number_integer()) misshapen(name, "a whole number");
  if (json.is_number_unsigned() && json.get<std::uint64_t>() > static_cast<std::uint64_t>(most))
    misshapen(name, "a number up to " + std::to_string(most));
  const auto value = json.get<std::int64_t>();
  if (value < 0) misshapen(name, "a number from 0 up");
  return value;
}

int small(const Json& object, const char* name) { return static_cast<int>(whole(object, name, 2'000'000'000)); }

std::optional<double> optional_number(const Json& object, const char* name) {
  const auto* json = optional_member(object, name);
  return json != nullptr ? std::optional(as_number(*json, name)) : std::nullopt;
}

template <class Word, std::size_t N>
Word word(const std::string& text, const std::array<Word, N>& words, const char* name) {
  std::string known;
  for (const auto candidate : words) {
    if (to_string(candidate) == text) return candidate;
    known += (known.empty() ? "" : ", ") + std::string(to_string(candidate));
  }
  misshapen(name, "one of " + known);
}

Status status(const std::string& text, const char* name) {
  return word(text,
              std::array{Status::pass, Status::note, Status::warn, Status::fail, Status::not_measured, Status::waived},
              name);
}

Verdict verdict(const std::string& text) {
  return word(text, std::array{Verdict::pass, Verdict::warn, Verdict::fail}, "verdict");
}

LimitKind limit_kind(const std::string& text) {
  return word(text,
              std::array{LimitKind::none, LimitKind::above, LimitKind::below, LimitKind::unless, LimitKind::multiple_of,
                         LimitKind::matches, LimitKind::forbid, LimitKind::require},
              "limit_kind");
}

ErrorCode error_code(const std::string& text) {
  return word(text,
              std::array{ErrorCode::usage, ErrorCode::rules, ErrorCode::missing, ErrorCode::unreadable,
                         ErrorCode::unrecognised, ErrorCode::no_audio, ErrorCode::output, ErrorCode::interrupted},
              "code");
}

/// Several units print as nothing; the catalog says which is meant.
Unit unit(const std::string& text, const std::string& measure, const Catalog& catalog) {
  if (const auto* entry = catalog.find(measure); entry != nullptr && to_string(entry->unit) == text) return entry->unit;
  for (const auto candidate : {Unit::count, Unit::lufs, Unit::lu, Unit::dbtp, Unit::dbfs, Unit::db, Unit::hz,
                               Unit::seconds, Unit::samples, Unit::bits, Unit::percent, Unit::bytes, Unit::kbit_s}) {
    if (to_string(candidate) == text) return candidate;
  }
  if (!text.empty()) throw Misshapen{"\"unit\" \"" + text + "\" is not known"};
  return Unit::text;
}

Value value(const Json& json, const char* name) {
  if (json.is_boolean()) return json.get<bool>();
  if (json.is_string()) return json.get<std::string>();
  return as_number(json, name);
}

Outcome outcome(const Json& object) {
  const auto& json = member(object, "value");
  if (!json.is_null()) return value(json, "value");
  auto reason = optional_text(object, "reason");
  if (!optional_flag(object, "applicable", true)) return NotApplicable{std::move(reason)};
  return NotMeasured{std::move(reason)};
}

std::vector<Where> places(const Json& json) {
  if (!json.is_array()) misshapen("where", "a list");
  std::vector<Where> all;
  for (const auto& item : json) {
    as_object(item, "where");
    Where where;
    where.start_s = time(item, "start_s");
    where.end_s = time(item, "end_s");
    where.start_frame = whole(item, "start_frame", kMostFrames);
    where.end_frame = whole(item, "end_frame", kMostFrames);
    where.channel = small(item, "channel");
    where.file = optional_text(item, "file");
    where.note = text(item, "note");
    all.push_back(std::move(where));
  }
  return all;
}

std::int64_t places_in_all(const Json& object, std::size_t listed) {
  if (optional_member(object, "where_total") == nullptr) return 0;
  const auto total = whole(object, "where_total", kMostFrames);
  if (total < static_cast<std::int64_t>(listed)) misshapen("where_total", "no less than the places listed");
  return total;
}

Measurement measurement(const std::string& key, const Json& json) {
  as_object(json, "measurements");
  Measurement made;
  made.key = key;
  made.id = key.substr(0, key.find('('));
  made.outcome = outcome(json);
  made.note = optional_text(json, "note");
  if (const auto* channels = optional_member(json, "channels")) {
    if (!channels->is_array()) misshapen("channels", "a list");
    for (const auto& channel : *channels)
      made.channels.push_back(channel.is_null() ? std::nullopt : std::optional(as_number(channel, "channels")));
  }
  if (const auto* where = optional_member(json, "where")) made.where = places(*where);
  made.where_total = places_in_all(json, made.where.size());
  return made;
}

Finding finding(const Json& json, const Catalog& catalog) {
  as_object(json, "findings");
  Finding made;
  made.ruleset = text(json, "ruleset");
  made.rule = text(json, "rule");
  made.measure = text(json, "measure");
  made.key = optional_member(json, "key") != nullptr ? text(json, "key") : made.measure;
  made.status = status(text(json, "status"), "status");
  made.before_waiver = made.status;
  if (made.status == Status::waived) {
    made.before_waiver = status(text(json, "before_waiver"), "before_waiver");
    const auto& waiver = as_object(member(json, "waiver"), "waiver");
    made.waiver = AppliedWaiver{text(waiver, "reason"), text(waiver, "by"), text(waiver, "until")};
  }
  made.outcome = outcome(json);
  if (made.status == Status::pass && std::holds_alternative<NotMeasured>(made.outcome))
    throw Misshapen{"the finding \"" + base::for_terminal(made.rule) + "\" passes and has no value"};
  made.unit = unit(text(json, "unit"), made.measure, catalog);
  if (optional_member(json, "limit_kind") != nullptr) made.limit_kind = limit_kind(text(json, "limit_kind"));
  if (const auto& limit = member(json, "limit"); !limit.is_null()) made.limit = value(limit, "limit");
  made.compare_to = optional_text(json, "compare_to");
  made.limit_text = optional_text(json, "limit_text");
  made.within_tolerance = optional_flag(json, "within_tolerance", false);
  made.tolerance = optional_number(json, "tolerance");
  made.change_db = optional_number(json, "change_db");
  made.true_peak_after_db = optional_number(json, "true_peak_after_db");
  made.note = optional_text(json, "note");
  made.where = places(member(json, "where"));
  made.where_total = places_in_all(json, made.where.size());
  made.why = text(json, "why");
  made.remedy = text(json, "remedy");
  made.source = text(json, "source");
  made.optional = optional_flag(json, "optional", false);
  if (const auto* files = optional_member(json, "files")) {
    if (!files->is_array()) misshapen("files", "a list");
    for (const auto& file : *files) made.files.push_back(as_text(file, "files"));
  }
  return made;
}

std::vector<Finding> findings(const Json& object, const Catalog& catalog) {
  std::vector<Finding> all;
  for (const auto& item : array(object, "findings")) all.push_back(finding(item, catalog));
  return all;
}

Facts facts(const Json& json) {
  as_object(json, "facts");
  Facts made;
  if (json.empty()) return made;
  made.container = text(json, "container");
  made.encoding = text(json, "encoding");
  made.sample_rate = small(json, "sample_rate");
  if (!member(json, "bit_depth").is_null()) made.bit_depth = small(json, "bit_depth");
  made.channels = small(json, "channels");
  made.channel_layout = optional_text(json, "channel_layout");
  made.frames = whole(json, "frames", kMostFrames);
  made.duration_s = time(json, "duration_s");
  if (optional_member(json, "file_size") != nullptr) made.file_size = whole(json, "file_size", kMostFrames * 512);
  if (optional_member(json, "tags") != nullptr) {
    for (const auto& tag : array(json, "tags")) {
      as_object(tag, "tags");
      made.tags.push_back({text(tag, "name"), text(tag, "value"), text(tag, "origin")});
    }
  }
  return made;
}

std::vector<Timeline> timelines(const Json& json) {
  as_object(json, "timelines");
  std::vector<Timeline> all;
  for (const auto& [key, item] : json.items()) {
    as_object(item, "timelines");
    Timeline made;
    made.id = text(item, "id");
    made.unit = text(item, "unit");
    made.channel = small(item, "channel");
    made.decimals = static_cast<int>(whole(item, "decimals", 9));
    made.start_s = time(item, "start_s");
    made.step_s = time(item, "step_s");
    for (const auto& number : array(item, "values"))
      made.values.push_back(number.is_null() ? std::nanf("") : static_cast<float>(as_number(number, "values")));
    all.push_back(std::move(made));
  }
  return all;
}

FileSheet file(const Json& json, const Catalog& catalog, bool& judged) {
  as_object(json, "file");
  FileSheet made;
  made.path = text(json, "path");
  if (const auto bytes = optional_text(json, "path_bytes"); !bytes.empty()) made.path = base::percent_decoded(bytes);
  made.role = optional_text(json, "role");
  const auto& digest = as_object(member(json, "digest"), "digest");
  made.audio_digest = optional_text(digest, "audio");
  made.file_digest = optional_text(digest, "file");
  made.facts = facts(member(json, "facts"));
  for (const auto& [key, item] : as_object(member(json, "measurements"), "measurements").items())
    made.measurements.push_back(measurement(key, item));
  made.findings = findings(json, catalog);
  for (const auto& item : array(json, "skipped")) {
    as_object(item, "skipped");
    made.skipped.push_back({optional_text(item, "ruleset"), text(item, "rule"), text(item, "reason")});
  }
  if (const auto* series = optional_member(json, "timelines")) made.timelines = timelines(*series);
  for (const auto& item : array(json, "cautions")) {
    as_object(item, "cautions");
    made.cautions.push_back({text(item, "text"), text(item, "source")});
  }
  if (const auto* error = optional_member(json, "error")) {
    as_object(*error, "error");
    made.error = Error{error_code(text(*error, "code")), text(*error, "text"), {}};
  }
  judged = optional_member(json, "verdict") != nullptr;
  if (!judged && !made.findings.empty()) throw Misshapen{"there are findings and no \"verdict\""};
  if (judged) {
    const auto stated = verdict(text(json, "verdict"));
    const auto found = made.error ? Verdict::fail : verdict_of(made.findings);
    made.verdict = static_cast<int>(stated) > static_cast<int>(found) ? stated : found;
  }
  return made;
}

std::vector<RulesUsed> rules(const Json& object) {
  std::vector<RulesUsed> all;
  for (const auto& item : array(object, "rules")) {
    as_object(item, "rules");
    all.push_back({text(item, "name"), text(item, "title"), optional_text(item, "purpose"), text(item, "digest"),
                   optional_text(item, "origin")});
  }
  return all;
}

bool too_deep(std::string_view text) {
  int depth = 0;
  bool quoted = false;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const char c = text[i];
    if (quoted) {
      if (c == '\\') ++i;
      if (c == '"') quoted = false;
    } else if (c == '"') {
      quoted = true;
    } else if (c == '{' || c == '[') {
      if (++depth > kDeepest) return true;
    } else if (c == '}' || c == ']') {
      --depth;
    }
  }
  return false;
}

/// Stops at a name that stands twice in one object: of such a text every reader believes another half.
class OnceOnly {
 public:
  bool operator()(int, Json::parse_event_t event, const Json& parsed) {
    if (event == Json::parse_event_t::object_start) open_.emplace_back();
    if (event == Json::parse_event_t::object_end) open_.pop_back();
    if (event == Json::parse_event_t::key && !open_.back().insert(parsed.get<std::string>()).second)
      throw Misshapen{"\"" + base::for_terminal(parsed.get<std::string>()) + "\" stands there twice"};
    return true;
  }

 private:
  std::vector<std::unordered_set<std::string>> open_;
};

/// A rule set leaves a finding on every file that it judged, if only that none of its rules applies. Without one nothing was judged, and
/// nothing may pass.
void was_judged(const Line& line) {
  if (!line.judged && !line.of_the_set.empty()) throw Misshapen{"it is of a song against its plan, which is judged as a whole and not merged; run plan check over it"};
  if (!line.judged || line.file.verdict == Verdict::fail) return;
  if (line.rules.empty()) throw Misshapen{"its verdict is \"" + std::string(to_string(line.file.verdict)) + "\" and no rule set judged it; check the file again"};
  for (const auto& set : line.rules) {
    const auto& all = line.file.findings;
    if (std::none_of(all.begin(), all.end(), [&set](const Finding& one) { return one.ruleset == set.name; }))
      throw Misshapen{"it names the rule set \"" + base::for_terminal(set.name) + "\" and has no finding of it, so that nothing was judged; check the file again"};
  }
}

Line read(std::string_view text_line, const Catalog& catalog) {
  OnceOnly once;
  const auto json = Json::parse(text_line.begin(), text_line.end(),
                                [&once](int depth, Json::parse_event_t event, Json& parsed) { return once(depth, event, parsed); });
  as_object(json, "the line");
  const auto schema = whole(json, "schema", 1'000'000);
  if (schema != 1)
    throw Misshapen{"it follows schema " + std::to_string(schema) +
                    ", and this version reads schema 1; use the version that wrote it"};
  if (optional_member(json, "files") != nullptr)
    throw Misshapen{std::string(kWholeDocument)};
  Line line;
  const auto& tool = as_object(member(json, "tool"), "tool");
  if (text(tool, "name") != "sendworthy") throw Misshapen{"it was not written by sendworthy"};
  line.tool_version = text(tool, "version");
  for (const auto& [name, version] : as_object(member(tool, "libraries"), "libraries").items())
    line.libraries[name] = as_text(version, "libraries");
  line.rules = rules(json);
  if (optional_member(json, "findings") != nullptr) line.of_the_set = findings(json, catalog);
  line.file = file(member(json, "file"), catalog, line.judged);
  was_judged(line);
  return line;
}

}  // namespace

Result<Line> read_line(std::string_view text, const Catalog& catalog) {
  if (text.size() > kLongestLine)
    return fail(ErrorCode::unrecognised, "the line is longer than " + std::to_string(kLongestLine >> 20u) + " MiB");
  if (too_deep(text))
    return fail(ErrorCode::unrecognised, "the line is nested more than " + std::to_string(kDeepest) + " levels deep");
  try {
    return read(text, catalog);
  } catch (const Misshapen& error) {
    return fail(ErrorCode::unrecognised, error.what);
  } catch (const Json::parse_error& error) {
    if (const auto byte = byte_not_utf8(text))
      return fail(ErrorCode::unrecognised, "its text is not UTF-8 from byte " + std::to_string(*byte) + " on; fetch it again as it was written, or write it again");
    return fail(ErrorCode::unrecognised, "no JSON at byte " + std::to_string(error.byte));
  } catch (const std::exception&) {
    return fail(ErrorCode::unrecognised, "the line cannot be read as JSON");
  }
}

}  // namespace sendworthy::sheet
