# Modules of clinical trials, PS3.3 edition 2025e. The form of a row is told in patient.mod.
module	Clinical Trial Subject	C.7.1.3
ClinicalTrialSponsorName	1
ClinicalTrialProtocolID	1
IssuerOfClinicalTrialProtocolID	3
OtherClinicalTrialProtocolIDsSequence	3	-	items 1-n
>ClinicalTrialProtocolID	1
>IssuerOfClinicalTrialProtocolID	1
ClinicalTrialProtocolName	2
ClinicalTrialSiteID	2
IssuerOfClinicalTrialSiteID	3
ClinicalTrialSiteName	2
ClinicalTrialSubjectID	1C	may; lacks ClinicalTrialSubjectReadingID
IssuerOfClinicalTrialSubjectID	3
ClinicalTrialSubjectReadingID	1C	may; lacks ClinicalTrialSubjectID
IssuerOfClinicalTrialSubjectReadingID	3
ClinicalTrialProtocolEthicsCommitteeName	1C	has ClinicalTrialProtocolEthicsCommitteeApprovalNumber
ClinicalTrialProtocolEthicsCommitteeApprovalNumber	3

module	Clinical Trial Study	C.7.2.3
ClinicalTrialTimePointID	2
IssuerOfClinicalTrialTimePointID	3
ClinicalTrialTimePointDescription	3
ClinicalTrialTimePointTypeCodeSequence	3	-	items 1-n
>include	Code
LongitudinalTemporalOffsetFromEvent	3
LongitudinalTemporalEventType	1C	has LongitudinalTemporalOffsetFromEvent	terms ENROLLMENT|BASELINE
ConsentForClinicalTrialUseSequence	3	-	items 1-n
>DistributionType	1C	ConsentForDistributionFlag=YES|WITHDRAWN	NAMED_PROTOCOL|RESTRICTED_REUSE|PUBLIC_RELEASE
>ClinicalTrialProtocolID	1C	unchecked: whether another protocol than that of the subject is meant is not in the object
>IssuerOfClinicalTrialProtocolID	3
>ConsentForDistributionFlag	1	-	NO|YES|WITHDRAWN

module	Clinical Trial Series	C.7.3.2
ClinicalTrialCoordinatingCenterName	2
ClinicalTrialSeriesID	3
IssuerOfClinicalTrialSeriesID	3
ClinicalTrialSeriesDescription	3
