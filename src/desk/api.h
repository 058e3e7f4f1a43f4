// What the page may ask, and what it is told.
#pragma once

#include <sendworthy/rule_set.h>

#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "desk/answer.h"
#include "desk/checks.h"
#include "desk/folder.h"
#include "desk/sound_api.h"
#include "desk/target.h"
#include "desk/uploads.h"

namespace sendworthy::desk {

struct RuleChoice {
  RuleSetFolders folders;
  std::vector<std::string> defaults;  ///< names or paths; what a check is judged by that names none
};

/// Safe to use from several threads. Targets come without the token.
class Api {
 public:
  /// All must outlive this object.
  Api(const Folder& folder, Uploads& uploads, Checks& checks, SoundApi& sound, RuleChoice rules)
      : folder_(folder), uploads_(uploads), checks_(checks), sound_(sound), rules_(std::move(rules)) {}

  /// `range`: the header of that name; only sounds can be had in part.
  [[nodiscard]] Answer get(const Target& target, std::string_view range = {}) const;
  /// Of what needs no body.
  [[nodiscard]] Answer post(const Target& target);
  [[nodiscard]] Answer remove(const Target& target);
  /// Of what does; false where a target needs none.
  [[nodiscard]] static bool takes_body(const Target& target);
  /// How large that may be.
  [[nodiscard]] static std::size_t most_bytes_of_body(const Target& target);
  [[nodiscard]] Answer post(const Target& target, std::string_view body);

 private:
  [[nodiscard]] Answer add_check(std::string_view body);
  [[nodiscard]] Answer add_comparison(CheckWish wish, std::vector<RuleSet> rule_sets);
  [[nodiscard]] Answer add_song(const CheckWish& wish, std::vector<RuleSet> rule_sets);
  [[nodiscard]] Answer add_plan(std::string_view body);
  [[nodiscard]] Answer add_order(std::string_view body) const;
  [[nodiscard]] Answer add(std::unique_ptr<Task> task);
  /// The one audio file of a wish; for uploads only the id.
  [[nodiscard]] tl::expected<FileToCheck, Answer> file_of(const NamedFile& file) const;
  /// Where a new file is to lie. Refused where something has the name.
  [[nodiscard]] tl::expected<std::string, Answer> new_path(const std::string& relative) const;
  [[nodiscard]] Answer state() const;
  [[nodiscard]] Answer list(const Target& target) const;
  [[nodiscard]] Answer list_uploads() const;
  [[nodiscard]] Answer sheet(const std::string& id, std::string_view name, const Target& target) const;
  /// One file of a written page, as a page.
  [[nodiscard]] Answer part_of_sheet(const std::string& path, std::string_view part) const;
  [[nodiscard]] Result<std::vector<RuleSet>> rule_sets(std::vector<std::string> names) const;

  const Folder& folder_;
  Uploads& uploads_;
  Checks& checks_;
  SoundApi& sound_;
  const RuleChoice rules_;
};

/// The path in the query as `path`, or percent-encoded as `id`.
[[nodiscard]] std::string path_in(const Target& target);

[[nodiscard]] Answer json_answer(const Json& json, int status = 200);
[[nodiscard]] Answer refusal(const UploadRefusal& refused);
[[nodiscard]] Answer refusal_of(const Error& error);
[[nodiscard]] Answer no_such_page();

/// The content security policy of everything but sheets.
[[nodiscard]] std::string_view page_policy();

}  // namespace sendworthy::desk
