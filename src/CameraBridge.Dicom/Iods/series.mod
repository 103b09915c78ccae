# Modules of the series, the frame of reference and the equipment, PS3.3 edition 2025e. The form of a row is told in patient.mod.
module	General Series	C.7.3.1
Modality	1
SeriesInstanceUID	1
SeriesNumber	2
Laterality	2C	SidedBodyPartWithoutImageLaterality	R|L
SeriesDate	3
SeriesTime	3
PerformingPhysicianName	3
PerformingPhysicianIdentificationSequence	3	-	items 1-n
>include	Person Identification
ProtocolName	3
SeriesDescription	3
SeriesDescriptionCodeSequence	3	-	items 1
>include	Code
OperatorsName	3
OperatorIdentificationSequence	3	-	items 1-n
>include	Person Identification
ReferencedPerformedProcedureStepSequence	3	-	items 1
>include	SOP Instance Reference
RelatedSeriesSequence	3	-	items 1-n
>StudyInstanceUID	1
>SeriesInstanceUID	1
>PurposeOfReferenceCodeSequence	2	-	items 0-n
>>include	Code
BodyPartExamined	3
PatientPosition	2C	elsewhere: the classes that need it are not photographs	terms HFP|HFS|HFDR|HFDL|FFP|FFS|FFDR|FFDL|LFP|LFS|RFP|RFS|AFDR|AFDL|PFDR|PFDL
SmallestPixelValueInSeries	3
LargestPixelValueInSeries	3
RequestAttributesSequence	3	-	items 1-n
>include	Request Attributes
PerformedProcedureStepID	3
PerformedProcedureStepStartDate	3
PerformedProcedureStepStartTime	3
PerformedProcedureStepEndDate	3
PerformedProcedureStepEndTime	3
PerformedProcedureStepDescription	3
PerformedProtocolCodeSequence	3	-	items 1-n
>include	Code
>ProtocolContextSequence	3	-	items 1-n
>>include	Content Item with Modifiers
CommentsOnThePerformedProcedureStep	3
AnatomicalOrientationType	1C	unchecked: how a patient that is not human stands is not in the object	BIPED|QUADRUPED
TreatmentSessionUID	3

module	Synchronization	C.7.4.2
SynchronizationFrameOfReferenceUID	1
SynchronizationTrigger	1	-	SOURCE|EXTERNAL|PASSTHRU|NO TRIGGER
TriggerSourceOrType	3
SynchronizationChannel	1C	elsewhere: pictures and clips hold no waveform
AcquisitionTimeSynchronized	1	-	Y|N
TimeSource	3
TimeDistributionProtocol	3	-	NTP|IRIG|GPS|SNTP|PTP
NTPSourceAddress	3

module	General Equipment	C.7.5.1
Manufacturer	2
InstitutionName	3
InstitutionAddress	3
StationName	3
InstitutionalDepartmentName	3
InstitutionalDepartmentTypeCodeSequence	3	-	items 1; cid B7030
>include	Code
ManufacturerModelName	3
ManufacturerDeviceClassUID	3
DeviceSerialNumber	3
SoftwareVersions	3
GantryID	3
UDISequence	3	-	items 1-n
>UniqueDeviceIdentifier	1
>DeviceDescription	3
DeviceUID	3
SpatialResolution	3
DateOfManufacture	3
DateOfInstallation	3
DateOfLastCalibration	3
TimeOfLastCalibration	3
PixelPaddingValue	1C	may; has PixelPaddingRangeLimit

module	Enhanced General Equipment	C.7.5.2
Manufacturer	1
ManufacturerModelName	1
DeviceSerialNumber	1
SoftwareVersions	1

module	SC Equipment	C.8.6.1
ConversionType	1	-	terms DV|DI|DF|WSD|SD|SI|DRW|SYN
Modality	3
SecondaryCaptureDeviceID	3
SecondaryCaptureDeviceManufacturer	3
SecondaryCaptureDeviceManufacturerModelName	3
SecondaryCaptureDeviceSoftwareVersions	3
VideoImageFormatAcquired	3
DigitalImageFormatAcquired	3

module	General Acquisition	C.7.10.1
AcquisitionUID	3
AcquisitionNumber	3
AcquisitionDate	3
AcquisitionTime	3
AcquisitionDateTime	3
AcquisitionDuration	3
ImagesInAcquisition	3
IrradiationEventUID	3
