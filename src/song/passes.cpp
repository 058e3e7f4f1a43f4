#include "song/passes.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <cstdint>
#include <exception>
#include <nlohmann/json.hpp>
#include <set>
#include <utility>

#include "base/bounds.h"
#include "base/files.h"
#include "base/table.h"
#include "base/text.h"
#include "judge/draft.h"

namespace sendworthy::song {
namespace {

using Json = nlohmann::json;

constexpr int kSchema = 1;
constexpr std::string_view kLostLine = R"({"schema":1,"kind":"lost"})";
constexpr std::string_view kDigestStart = "xxh128:";
constexpr std::size_t kDigestDigits = 32, kLongestPath = 4096, kMostNumbers = 5000;
constexpr double kLongestPlayed = 7 * 86400.0;  // seconds
constexpr std::array kAnswers{Answer::holds, Answer::tweak, Answer::skip};

/// Thrown and caught in this file only.
struct Misshapen {
  std::string what;
};

const Json& member(const Json& object, const char* name) {
  const auto found = object.find(name);
  if (found == object.end()) throw Misshapen{fmt::format("\"{}\" is missing", name)};
  return *found;
}

std::string text(const Json& object, const char* name) {
  const auto& json = member(object, name);
  if (!json.is_string()) throw Misshapen{fmt::format("\"{}\" must be text", name)};
  return json.get<std::string>();
}

int whole(const Json& object, const char* name, int most) {
  const auto& json = member(object, name);
  if (json.is_number_unsigned() && json.get<std::uint64_t>() >= 1 && json.get<std::uint64_t>() <= static_cast<std::uint64_t>(most)) return json.get<int>();
  throw Misshapen{fmt::format("\"{}\" must be a whole number from 1 to {}", name, most)};
}

double finite(const Json& json, std::string_view name) {
  if (json.is_number()) {
    if (const auto value = json.get<double>(); std::isfinite(value)) return value;
  }
  throw Misshapen{fmt::format("\"{}\" must be a number", base::for_terminal(name))};
}

/// Stops at a name that stands twice in one object: of such a line every reader believes another half.
class OnceOnly {
 public:
  bool operator()(int, Json::parse_event_t event, const Json& parsed) {
    if (event == Json::parse_event_t::object_start) open_.emplace_back();
    if (event == Json::parse_event_t::object_end) open_.pop_back();
    if (event == Json::parse_event_t::key && !open_.back().insert(parsed.get<std::string>()).second)
      throw Misshapen{fmt::format("\"{}\" stands twice", base::for_terminal(parsed.get<std::string>()))};
    return true;
  }

 private:
  std::vector<std::set<std::string>> open_;
};

Answer read_answer(const std::string& word) {
  for (const auto one : kAnswers) {
    if (to_string(one) == word) return one;
  }
  throw Misshapen{"\"answer\" must be holds, tweak or skip"};
}

Noted read_noted(const Json& json) {
  if (!json.is_object()) throw Misshapen{"each finding in \"measured\" must be an object"};
  Noted noted{text(json, "status"), {}};
  const auto& numbers = member(json, "numbers");
  if (!numbers.is_object() || numbers.size() > kMostNumbers) throw Misshapen{fmt::format("\"numbers\" must be an object of at most {} numbers", kMostNumbers)};
  for (const auto& [name, value] : numbers.items()) noted.numbers.emplace(name, finite(value, name));
  return noted;
}

PassLine read_line(std::string_view bytes) {
  const auto json = Json::parse(bytes, OnceOnly());
  if (!json.is_object()) throw Misshapen{"it must be an object"};
  if (const auto schema = whole(json, "schema", 1'000'000); schema != kSchema)
    throw Misshapen{fmt::format("its schema is {}, and this version reads {}; a newer version wrote it", schema, kSchema)};
  PassLine line;
  auto& answer = line.answer;
  const auto kind = text(json, "kind");
  answer.pass = whole(json, "pass", kMostPasses);
  answer.date = text(json, "date");
  answer.by = text(json, "by");
  answer.mix = text(json, "mix");
  answer.audio = text(json, "audio");
  if (kind == "answer") {
    line.question = text(json, "question");
    line.question_digest = text(json, "text");
    answer.answer = read_answer(text(json, "answer"));
    answer.note = text(json, "note");
    if (const auto played = json.find("played_s"); played != json.end()) answer.played_s = finite(*played, "played_s");
    if (line.question.empty()) throw Misshapen{"\"question\" is empty"};
  } else if (kind == "pass") {
    const auto& measured = member(json, "measured");
    if (!measured.is_object()) throw Misshapen{"\"measured\" must be an object"};
    for (const auto& [id, noted] : measured.items()) line.measured.emplace(id, read_noted(noted));
  } else {
    throw Misshapen{"\"kind\" must be pass or answer"};
  }
  if (const auto fault = fault_of(line); !fault.empty()) throw Misshapen{fault};
  return line;
}

bool is_digest(std::string_view digest) {
  return digest.starts_with(kDigestStart) && digest.size() == kDigestStart.size() + kDigestDigits &&
         digest.find_first_not_of("0123456789abcdef", kDigestStart.size()) == digest.npos;
}

bool is_day(std::string_view day) {
  constexpr std::string_view kForm = "dddd-dd-dd";
  if (day.size() != kForm.size()) return false;
  for (std::size_t i = 0; i < day.size(); ++i) {
    if (kForm[i] == '-' ? day[i] != '-' : day[i] < '0' || day[i] > '9') return false;
  }
  const auto number = [&](std::size_t from, std::size_t count) {
    int value = 0;
    for (const char digit : day.substr(from, count)) value = 10 * value + (digit - '0');
    return value;
  };
  const auto year = number(0, 4);
  return year >= 1 && std::chrono::year_month_day(std::chrono::year(year), std::chrono::month(static_cast<unsigned>(number(5, 2))), std::chrono::day(static_cast<unsigned>(number(8, 2)))).ok();
}

std::string trouble_with(std::string_view bytes, PassLine& line) {
  if (bytes.size() > kLongestPassesLine) return fmt::format("it is longer than {} KiB", kLongestPassesLine / 1024);
  try {
    line = read_line(bytes);
    return "";
  } catch (const Misshapen& problem) {
    return problem.what;
  } catch (const Json::parse_error& problem) {
    return fmt::format("it is no JSON from byte {} on", problem.byte);
  } catch (const std::exception&) {
    return "it cannot be read as JSON";
  }
}

/// Whether a line without an end is what a crash left of one of ours: its beginning, or as many zeros as it was to have bytes.
bool may_be_cut_off(std::string_view line) {
  constexpr std::string_view kStart = R"({"schema":)";
  const auto length = std::min(line.size(), kStart.size());
  return line.substr(0, length) == kStart.substr(0, length) || line.find_first_not_of('\0') == line.npos;
}

tl::unexpected<Error> wrong_line(const std::string& path, int number, const std::string& what) {
  return fail(ErrorCode::rules,
              "this line of the passes file is wrong: " + what + "; put it right, or take the line out: what it answered is then asked again",
              {path, number, 0});
}

}  // namespace

std::string fault_of(const PassLine& line) {
  const auto& answer = line.answer;
  if (answer.pass < 1 || answer.pass > kMostPasses) return fmt::format("\"pass\" must be a whole number from 1 to {}", kMostPasses);
  if (!is_day(answer.date)) return "\"date\" must be a day that exists, YYYY-MM-DD";
  if (base::is_blank(answer.by) || base::code_points(answer.by).size() > kLongestInitials)
    return fmt::format("\"by\" must hold initials, at most {} characters", kLongestInitials);
  if (answer.mix.empty() || answer.mix.size() > kLongestPath) return fmt::format("\"mix\" must be a path of at most {} bytes", kLongestPath);
  if (!is_digest(answer.audio)) return "\"audio\" must be a digest: xxh128: and 32 hexadecimal digits";
  if (line.question.empty()) return "";
  if (!judge::is_rule_id(line.question)) return "\"question\" must be the id of a question";
  if (!is_digest(line.question_digest)) return "\"text\" must be a digest: xxh128: and 32 hexadecimal digits";
  if (base::code_points(answer.note).size() > kLongestNote) return fmt::format("\"note\" must have at most {} characters", kLongestNote);
  if (answer.answer == Answer::tweak && base::is_blank(answer.note)) return "a tweak needs a note: what to change";
  if (answer.played_s && !(*answer.played_s >= 0 && *answer.played_s <= kLongestPlayed)) return "\"played_s\" must lie between 0 and 604800 s";
  return "";
}

Result<Passes> parse_passes(std::string_view text, const std::string& path) {
  if (text.size() > kMostPassesBytes)
    return fail(ErrorCode::rules, fmt::format("the passes file is larger than {} MiB; move it away to begin a new one", kMostPassesBytes >> 20u), {path, 0, 0});
  Passes passes;
  std::vector<std::string_view> lines;
  while (!text.empty()) {
    const auto end = text.find('\n');
    if (end == text.npos) {
      if (!may_be_cut_off(text))
        return wrong_line(path, static_cast<int>(lines.size()) + 1, "it has no end, and does not begin as a line of this file does");
      passes.unfinished = true;
      ++passes.lost;
      break;
    }
    auto line = text.substr(0, end);
    if (line.ends_with('\r')) line.remove_suffix(1);
    if (lines.size() == kMostPassesLines)
      return fail(ErrorCode::rules, fmt::format("the passes file has more than {} lines; move it away to begin a new one", kMostPassesLines), {path, 0, 0});
    lines.push_back(line);
    text.remove_prefix(end + 1);
  }
  std::set<std::pair<int, std::string>> begun;  // passes, on this audio
  for (std::size_t i = 0; i < lines.size(); ++i) {
    if (lines[i].empty() || lines[i] == kLostLine) continue;
    if (i + 1 < lines.size() && lines[i + 1] == kLostLine) {
      ++passes.lost;
      continue;
    }
    PassLine line;
    if (const auto trouble = trouble_with(lines[i], line); !trouble.empty()) return wrong_line(path, static_cast<int>(i) + 1, trouble);
    const std::pair pass(line.answer.pass, line.answer.audio);
    if (line.question.empty()) {
      begun.insert(pass);
    } else if (!begun.contains(pass)) {
      return wrong_line(path, static_cast<int>(i) + 1, fmt::format("no line with the kind pass begins pass {} on this audio before it", line.answer.pass));
    }
    passes.lines.push_back(std::move(line));
  }
  return passes;
}

Result<Passes> read_passes(const std::string& path) {
  const auto text = base::read_text_in_bounds(path, kMostPassesBytes);
  if (text) return parse_passes(*text, path);
  if (text.error().code == ErrorCode::missing) return Passes{};
  return tl::unexpected(text.error());
}

std::string written(const PassLine& line) {
  const auto& answer = line.answer;
  const bool is_answer = !line.question.empty();
  using Ordered = nlohmann::ordered_json;  // to write: reading goes through its members one by one
  Ordered json{{"schema", kSchema}, {"kind", is_answer ? "answer" : "pass"}, {"pass", answer.pass}, {"date", answer.date}, {"by", answer.by}, {"mix", answer.mix}, {"audio", answer.audio}};
  if (is_answer) {
    json["question"] = line.question;
    json["text"] = line.question_digest;
    json["answer"] = std::string(to_string(answer.answer));
    json["note"] = answer.note;
    if (answer.played_s) json["played_s"] = *answer.played_s;
  } else {
    auto measured = Ordered::object();
    for (const auto& [id, noted] : line.measured) {
      auto numbers = Ordered::object();
      for (const auto& [name, value] : noted.numbers) numbers[name] = value;
      measured[id] = Ordered{{"status", noted.status}, {"numbers", std::move(numbers)}};
    }
    json["measured"] = std::move(measured);
  }
  return json.dump(-1, ' ', false, Ordered::error_handler_t::replace) + "\n";
}

Result<void> append_passes(const std::string& path, const std::string& lines) {
  return base::append_lines(path, lines, "\n" + std::string(kLostLine) + "\n", kMostPassesBytes);
}

}  // namespace sendworthy::song
